package deliver

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"mullion/card/disk"
	"mullion/imprint"
	"mullion/internal/raster"
	"mullion/jpegfile"
)

// About is what a delivered file says about itself.
type About = imprint.About

// File is one delivered file.
type File struct {
	Path        string
	Sheet       string // the delivery sheet's name
	Width       int    // pixels
	Height      int
	Bytes       int
	Quality     int    // JPEG quality, 1 to 100
	Subsampling string // 4:4:4 or 4:2:0
	SHA256      string
	Notes       []string // what the recipient's rules cost this picture, in full sentences
}

// Target is one file to write: where, and by which sheet.
type Target struct {
	Sheet Sheet
	Path  string
	// Reduced is by how much the picture was reduced before it came here, 1 or more;
	// 0 counts as 1. It decides how much the file is sharpened.
	Reduced float64
}

// Write writes one picture by one sheet. See [WriteAll].
func Write(ctx context.Context, pic *raster.RGB, sheet Sheet, about About, path string) (File, error) {
	files, err := WriteAll(ctx, pic, about, []Target{{Sheet: sheet, Path: path}})
	if err != nil {
		return File{}, err
	}
	return files[0], nil
}

// WriteAll writes one picture (linear light, sRGB primaries, 0..1) by several
// sheets and returns the files in the order of the targets. Every file appears
// whole under its name or not at all. The picture is not changed. When one
// target fails the others are still written; its File has no path.
func WriteAll(ctx context.Context, pic *raster.RGB, about About, targets []Target) ([]File, error) {
	if err := checkPicture(pic); err != nil {
		return nil, err
	}
	order := make([]int, len(targets))
	for i := range order {
		order[i] = i
	}
	size := func(i int) int {
		f := targets[i].Sheet.Pixels.fit(pic.W(), pic.H())
		return f.outW * f.outH
	}
	slices.SortStableFunc(order, func(a, b int) int { return size(b) - size(a) })

	files, errs := make([]File, len(targets)), make([]error, len(targets))
	src := source{pic: pic}
	defer src.close()
	var wg sync.WaitGroup // coding one file overlaps with reducing for the next
	for _, i := range order {
		t := targets[i]
		f := t.Sheet.Pixels.fit(pic.W(), pic.H())
		img, err := src.render(ctx, f, t)
		if err != nil {
			errs[i] = err
			continue
		}
		wg.Go(func() { files[i], errs[i] = finish(ctx, img, f, t, about) })
	}
	wg.Wait()
	return files, errors.Join(errs...)
}

func checkPicture(pic *raster.RGB) error {
	if pic == nil || pic[0] == nil || pic[1] == nil || pic[2] == nil || pic.W() == 0 || pic.H() == 0 {
		return errors.New("deliver: there is no picture")
	}
	for _, p := range pic {
		if p.W != pic.W() || p.H != pic.H() {
			return errors.New("deliver: the picture's planes differ in size")
		}
	}
	return nil
}

// source is the picture and the last reduction of it, from which a much smaller
// one can be made faster.
type source struct {
	pic  *raster.RGB
	last *raster.RGB
	at   frame
}

func (s *source) close() { raster.PutRGB(s.last) }

// render makes the 8-bit image of a frame.
func (s *source) render(ctx context.Context, f frame, t Target) (*jpegfile.Image, error) {
	amount := t.Sheet.File.Sharpen * sharpenAmount(f.factor(), max(1, t.Reduced))
	from := s.pic.Crop(f.x, f.y, f.w, f.h)
	if f.outW == f.w && f.outH == f.h {
		return code(ctx, from, amount)
	}
	sameCut := s.last != nil && s.at.x == f.x && s.at.y == f.y && s.at.w == f.w && s.at.h == f.h
	if sameCut && s.last.W() >= 2*f.outW {
		from = s.last
	}
	small, err := reduce(ctx, from, f.outW, f.outH)
	if err != nil {
		return nil, err
	}
	raster.PutRGB(s.last)
	s.last, s.at = small, f
	return code(ctx, small, amount)
}

// finish codes an image by its sheet and writes the file.
func finish(ctx context.Context, img *jpegfile.Image, f frame, t Target, about About) (File, error) {
	if about.Title == "" {
		about.Title = strings.TrimSuffix(filepath.Base(t.Path), filepath.Ext(t.Path))
	}
	rules := t.Sheet.File
	overhead := jpegfile.Overhead(imprint.Segments(about, f.outW, f.outH, rules.DPI))
	c, ok, err := search(ctx, img, rules, overhead)
	for err == nil && !ok {
		if min(f.outW, f.outH) < 64 {
			return File{}, fmt.Errorf("%s: %d bytes are too few for any picture", t.Path, rules.MaxBytes)
		}
		f.reducedBelow = true
		if img, err = shrinkCoded(ctx, img, 0.9); err != nil {
			break
		}
		f.outW, f.outH = img.W, img.H
		c, ok, err = search(ctx, img, rules, overhead)
	}
	if err != nil {
		return File{}, err
	}
	data, err := jpegfile.Splice(c.data, imprint.Segments(about, img.W, img.H, rules.DPI))
	if err != nil {
		return File{}, err
	}
	if rules.MaxBytes > 0 && len(data) > rules.MaxBytes {
		return File{}, fmt.Errorf("%s: came to %d bytes, the sheet allows %d", t.Path, len(data), rules.MaxBytes)
	}
	if err := ctx.Err(); err != nil {
		return File{}, err
	}
	if err := writeFile(t.Path, data); err != nil {
		return File{}, err
	}
	sum := sha256.Sum256(data)
	return File{
		Path: t.Path, Sheet: t.Sheet.Name, Width: img.W, Height: img.H, Bytes: len(data),
		Quality: c.quality, Subsampling: c.subsampling.String(), SHA256: hex.EncodeToString(sum[:]),
		Notes: notes(f, c, t.Sheet),
	}, nil
}

func notes(f frame, c coded, s Sheet) []string {
	var n []string
	if f.reducedBelow {
		n = append(n, fmt.Sprintf("The picture was reduced to %d x %d pixels to stay under the %d bytes of sheet %s.", f.outW, f.outH, s.File.MaxBytes, s.Name))
	}
	if c.quality < s.File.Good {
		n = append(n, fmt.Sprintf("The picture was coded at quality %d to stay under the %d bytes of sheet %s.", c.quality, s.File.MaxBytes, s.Name))
	}
	if long := max(f.outW, f.outH); long < s.Pixels.WarnBelow && !f.reducedBelow {
		n = append(n, fmt.Sprintf("The picture is %d pixels long; sheet %s asks for %d, and a picture is never enlarged.", long, s.Name, s.Pixels.WarnBelow))
	}
	if lost := 1 - float64(f.w)*float64(f.h)/float64(max(1, (f.w+2*f.x)*(f.h+2*f.y))); lost > 0.005 {
		n = append(n, fmt.Sprintf("The ratio %s of sheet %s cut off %.0f %% of the picture.", s.Pixels.Ratio, s.Name, math.Round(100*lost)))
	}
	return n
}

// Restamp returns a delivered file with other words about itself and every pixel as it
// is; name is the file's new one. It fails when the result has more bytes than the
// sheet allows.
func (s Sheet) Restamp(data []byte, about About, name string) ([]byte, error) {
	w, h, err := sizeOf(data)
	if err != nil {
		return nil, err
	}
	if about.Title == "" {
		about.Title = strings.TrimSuffix(name, filepath.Ext(name))
	}
	out, err := jpegfile.Splice(data, imprint.Segments(about, w, h, s.File.DPI))
	if err != nil {
		return nil, err
	}
	if s.File.MaxBytes > 0 && len(out) > s.File.MaxBytes {
		return nil, fmt.Errorf("%s: with these words it comes to %d bytes, the sheet allows %d", name, len(out), s.File.MaxBytes)
	}
	return out, nil
}

// shrinkCoded reduces an 8-bit image by a factor, through linear light.
func shrinkCoded(ctx context.Context, img *jpegfile.Image, by float64) (*jpegfile.Image, error) {
	w, h := int(math.Round(float64(img.W)*by)), int(math.Round(float64(img.H)*by))
	return reduceCoded(ctx, img, max(1, w), max(1, h), 0.4)
}

// writeFile writes data under a name in one step: a reader sees the whole file
// or none.
func writeFile(path string, data []byte) error {
	if err := disk.WriteFile(disk.OS, path, data); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}
