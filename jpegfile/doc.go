// Package jpegfile encodes, decodes and takes apart JPEG files.
//
// A JPEG file (ITU-T T.81) is a row of segments: a marker, a length, a payload.
// The pixels are coded by libjpeg-turbo through its TurboJPEG interface; what
// the file says about itself (profile, Exif, XMP, IIM) sits in application
// segments that are spliced in here, without touching the coded pixels.
package jpegfile
