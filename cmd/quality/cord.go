package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/removal"
	"mullion/simcam"
)

// cord fills the cord on the guest room's floor and prints how near each fill comes
// to the room rendered without it: PSNR of code values where the cord was.
func (b *bench) cord(ctx context.Context, data string) error {
	var pics [2]*raster.RGB
	for i, name := range []string{"A-guest", "A-guest-nocord"} {
		m, err := plainly(ctx, filepath.Join(data, "demo-house", name+".radiance.png"))
		if err != nil {
			return err
		}
		pics[i] = m
	}
	path := filepath.Join(data, "demo-house", "A-guest-cord.png")
	mask, err := readCodes(path, 1)
	if err != nil {
		return err
	}
	fmt.Printf("A cord taken out of %d x %d pixels, PSNR where it was, dB\n", mask.W(), mask.H())
	ours := raster.NewRGB(mask.W(), mask.H())
	for c := range ours {
		colour.DecodeSRGBRow(ours[c].Pix, pics[0][c].Pix)
	}
	if _, err := removal.Fill(ctx, ours, mask[0], removal.Options{}); err != nil {
		return err
	}
	fmt.Printf("%-38s%12.2f\n", "Mullion", psnrIn(codes(ours), pics[1], mask[0]))
	if b.opencv != nil {
		if err := b.opencvCords(ctx, pics, mask[0], path); err != nil {
			return err
		}
	}
	fmt.Println()
	return nil
}

// libraryCords tries OpenCV's two methods with the mask as it is and widened.
func (b *bench) opencvCords(ctx context.Context, pics [2]*raster.RGB, mask *raster.Plane, path string) error {
	if err := writePicture(b.work, "cord", pics[0]); err != nil {
		return err
	}
	script := filepath.Join(filepath.Dir(b.opencv.script), "opencv-inpaint.py")
	for _, widen := range []string{"0", "1", "3"} {
		out, err := exec.CommandContext(ctx, b.opencv.python, script, b.work, filepath.Join(b.work, "cord.png"), path, widen).CombinedOutput()
		if err != nil {
			return fmt.Errorf("opencv-inpaint.py: %w: %s", err, out)
		}
		for _, row := range [2][2]string{{"telea", "Telea 2004"}, {"ns", "Navier-Stokes"}} {
			m, err := readCodes(filepath.Join(b.work, row[0]+".png"), 1)
			if err != nil {
				return err
			}
			fmt.Printf("%-38s%12.2f\n", "OpenCV "+row[1]+", mask + "+widen, psnrIn(m, pics[1], mask))
		}
	}
	return nil
}

// plainly reads a rendered view and takes it to code values by one plain curve, which
// brings this room's median to 0.6 before it.
func plainly(ctx context.Context, path string) (*raster.RGB, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	m, err := simcam.ReadRadiance(ctx, f)
	if err != nil {
		return nil, err
	}
	for c := range m {
		for i, v := range m[c].Pix {
			v *= 3.08
			m[c].Pix[i] = min(1, 1.3*v/(1+v))
		}
	}
	return codes(m), nil
}

func psnrIn(a, b *raster.RGB, mask *raster.Plane) float64 {
	var r rms
	for c := range a {
		for i, v := range a[c].Pix {
			if mask.Pix[i] > 0 {
				r.add(float64(v - b[c].Pix[i]))
			}
		}
	}
	return -20 * math.Log10(r.root())
}
