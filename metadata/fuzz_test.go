package metadata

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
)

// FuzzReadFrom feeds every container parser, by the kind its bytes claim.
func FuzzReadFrom(f *testing.F) {
	f.Add([]byte("II*\x00\x08\x00\x00\x00\x01\x00\x0f\x01\x02\x00\x04\x00\x00\x00abc\x00\x08\x00\x00\x00"), "a.dng")
	f.Add([]byte("\xFF\xD8\xFF\xE1\x00\x10Exif\x00\x00MM\x00*\x00\x00\x00\x08\xFF\xDA"), "a.jpg")
	f.Add([]byte("\x00\x00\x00\x18ftypcrx \x00\x00\x00\x01crx isomCMT1II*\x00\x08\x00\x00\x00"), "a.cr3")
	f.Add([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heicExif\x00\x00MM\x00*\x00\x00\x00\x08"), "a.heic")
	f.Add(append([]byte("FUJIFILMCCD-RAW "), make([]byte, 100)...), "a.raf")
	f.Add([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"), "a.png")
	if root := os.Getenv("MULLION_TESTDATA"); root != "" {
		for _, p := range []string{"raw/truncated/CanonRaw.cr2", "raw/truncated/Nikon.nef", "raw/truncated/Panasonic.rw2", "raw/truncated/DNG.dng", "metadata/broken/infinite_loop_exif.jpg"} {
			if b, err := os.ReadFile(filepath.Join(root, "realdata", p)); err == nil && len(b) < 20000 {
				f.Add(b, filepath.Base(p))
			}
		}
	}
	f.Fuzz(func(t *testing.T, b []byte, name string) {
		info, err := ReadFrom(context.Background(), name, bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return
		}
		if info.Orientation < 1 || info.Orientation > 8 || info.Seconds < 0 || info.ISO < 0 || info.FNumber < 0 {
			t.Errorf("%+v", info)
		}
	})
}
