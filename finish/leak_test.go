package finish

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestDeliveredFilesByAnIndependentReader reads every delivered picture with exiftool:
// what must be there is, and what must not leave the house isn't.
func TestDeliveredFilesByAnIndependentReader(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	// A card as some cameras write it, with a position, serial numbers and an owner.
	frames, err := filepath.Glob(filepath.Join(card, "DCIM", "*", "*.DNG"))
	if err != nil || len(frames) == 0 {
		t.Fatal("no frames", err)
	}
	args := append([]string{"-q", "-overwrite_original", "-GPSLatitude=48.2", "-GPSLatitudeRef=N", "-GPSLongitude=16.3", "-GPSLongitudeRef=E",
		"-SerialNumber=SN-QZ47", "-LensSerialNumber=LN-QZ47", "-OwnerName=Secret Owner", "-XMP:GPSLatitude=48.2"}, frames...)
	if out, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s, %v", out, err)
	}
	sound(t, run(t, Job{Card: card, Shoot: dir, Version: "test", Keys: t.TempDir(), Rooms: []string{"Bath", "Bedroom"}}), 2)
	r, err := Deliver(t.Context(), Job{Shoot: dir, Version: "test", Keys: t.TempDir(), Sheets: []string{"listing", "print", "listing-small"}})
	if err != nil {
		t.Fatal(err)
	}
	sound(t, r, 2)
	for _, v := range r.Views {
		for _, f := range v.Files {
			tags := exif(t, f.Path)
			for tag, want := range map[string]string{
				"ColorSpace": "sRGB", "YCbCrSubSampling": "YCbCr4:4:4 (1 1)", "EncodingProcess": "Baseline DCT, Huffman coding", "MIMEType": "image/jpeg",
				"DigitalSourceType": "http://cv.iptc.org/newscodes/digitalsourcetype/computationalCapture",
				"CompositeImage":    "General Composite Image",
			} {
				if got := tags[tag]; got != want {
					t.Errorf("%s: %s is %q, want %q", f.Path, tag, got, want)
				}
			}
			if !strings.Contains(tags["ProfileDescription"], "sRGB") {
				t.Errorf("%s: the profile is %q", f.Path, tags["ProfileDescription"])
			}
			out, err := exec.Command(tool, "-a", "-G1", "-s", "-ee", f.Path).Output()
			if err != nil {
				t.Fatal(err)
			}
			for _, leak := range []string{"GPS", "QZ47", "Secret", "SerialNumber", "Thumbnail", "MakerNote"} {
				if strings.Contains(string(out), leak) {
					t.Errorf("%s holds %q", f.Path, leak)
				}
			}
		}
		if v.Files[2].Bytes > 125_000 {
			t.Errorf("the small file has %d bytes", v.Files[2].Bytes)
		}
	}
	// Nothing else of the delivery tells more: pages, record, archive. (The numbers looked
	// for have letters that no checksum has.)
	hit, err := exec.Command("grep", "-rlE", "QZ47|Secret Owner", filepath.Join(dir, "deliveries")).Output()
	if len(hit) > 0 {
		t.Errorf("what must not leave the house is in\n%s (%v)", hit, err)
	}
}
