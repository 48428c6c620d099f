package imprint

import "mullion/jpegfile"

// Segments returns the application segments of a picture of w x h pixels that is
// meant to print at dpi (0 writes the usual 72): Exif, XMP, IIM and the sRGB
// profile, in this order.
func Segments(a About, w, h, dpi int) []jpegfile.Segment {
	a = a.clean()
	return []jpegfile.Segment{
		{Marker: jpegfile.APP1, Payload: append([]byte("Exif\x00\x00"), exif(a, w, h, dpi)...)},
		{Marker: jpegfile.APP1, Payload: append([]byte("http://ns.adobe.com/xap/1.0/\x00"), xmp(a)...)},
		{Marker: jpegfile.APP13, Payload: resources(iim(a))},
		{Marker: jpegfile.APP2, Payload: append([]byte("ICC_PROFILE\x00\x01\x01"), SRGB()...)},
	}
}

// ProfileSegment is the sRGB profile alone, for pictures that say nothing else.
func ProfileSegment() jpegfile.Segment {
	return jpegfile.Segment{Marker: jpegfile.APP2, Payload: append([]byte("ICC_PROFILE\x00\x01\x01"), SRGB()...)}
}
