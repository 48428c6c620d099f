package deliver

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"github.com/gen2brain/webp"

	"mullion/imprint"
	"mullion/jpegfile"
)

// smallWidths are the long edges of the reduced pictures: a phone's column, and a
// column of a big screen. leadWidth is that of the first, widest picture in WebP.
var smallWidths = [2]int{640, 1280}

const leadWidth = 2048

// smallRules keep the reduced pictures light.
var smallRules = FileRules{Quality: [2]int{50, 84}, Good: 70, AimBytes: 320_000, MaxBytes: 600_000}

// WebP at this quality is as good as the JPEG beside it and 40 % smaller: on a picture
// of a room, 1280 pixels wide, 39.4 dB in 52 kB against 39.9 dB in 90 kB. AVIF would be
// smaller by another fifth but takes four times as long to start and twice as long to code.
var webpOptions = webp.Options{Quality: 80, Method: 2}

// shown is a picture with its reduced versions.
type shown struct {
	Item
	href  string   // of the file, relative to the folder
	files []string // of all files, the same
	twin  string   // of the unaltered twin, the same; empty for none
	small []small
	wide  small // WebP only; of the first picture
}

type small struct {
	href string
	webp string // the same picture, smaller; empty for none
	w, h int
	data []byte // of the JPEG file
}

// reducer makes the reduced pictures of a delivery, but for those that are there from
// the same files already.
type reducer struct {
	dir  string
	webp bool

	mu   sync.Mutex
	made map[string]origin
}

// origin says what a reduced picture was made from.
type origin struct {
	Source string `json:"source"` // SHA-256 of the delivered file
	Sum    string `json:"sum"`    // of the reduced one
	W      int    `json:"w"`
	H      int    `json:"h"`
}

// originsName is hidden, so that it is no part of the delivery.
const originsName = ".origins.json"

// reduceAll reduces the pictures of a delivery, two or more at a time.
func reduceAll(ctx context.Context, dir string, d Delivery) ([]shown, error) {
	r := &reducer{dir: dir, webp: d.Small, made: map[string]origin{}}
	list := filepath.Join(dir, pagesDir, originsName)
	if b, err := os.ReadFile(list); err == nil && json.Unmarshal(b, &r.made) != nil {
		r.made = map[string]origin{}
	}
	out, errs := make([]shown, len(d.Items)), make([]error, len(d.Items))
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i, it := range d.Items {
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			if errs[i] = ctx.Err(); errs[i] == nil {
				out[i], errs[i] = r.reduce(ctx, it, i == 0)
			}
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	if err := sweep(dir, out); err != nil {
		return nil, err
	}
	keep := map[string]origin{}
	for name, o := range r.made {
		if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(name))); err == nil {
			keep[name] = o
		}
	}
	b, err := json.Marshal(keep)
	if err != nil {
		return nil, err
	}
	return out, writeFile(list, b)
}

func (r *reducer) reduce(ctx context.Context, it Item, lead bool) (shown, error) {
	s := shown{Item: it}
	s.Files = append([]File(nil), it.Files...) // the caller's stay as they are
	if len(it.Files) == 0 {
		return s, fmt.Errorf("deliver: picture %d has no file", it.Order)
	}
	for _, f := range it.Files {
		rel, err := inside(r.dir, f.Path)
		if err != nil {
			return s, err
		}
		s.files = append(s.files, rel)
	}
	if it.Unaltered != "" {
		rel, err := inside(r.dir, it.Unaltered)
		if err != nil {
			return s, err
		}
		s.twin = rel
	}
	s.href = s.files[0]
	data, err := os.ReadFile(filepath.Join(r.dir, filepath.FromSlash(s.href)))
	if err != nil {
		return s, err
	}
	if s.Files[0].Width, s.Files[0].Height, err = sizeOf(data); err != nil {
		return s, fmt.Errorf("%s: %w", s.href, err)
	}
	full := &lazy{data: data, name: s.href}
	stem := path.Join(pagesDir, strings.TrimSuffix(path.Base(s.href), path.Ext(s.href)))
	long := max(s.Files[0].Width, s.Files[0].Height)
	for i, edge := range smallWidths {
		if i > 0 && edge >= long {
			break
		}
		one, err := r.both(ctx, full, fmt.Sprintf("%s-%d", stem, edge), edge)
		if err != nil {
			return s, err
		}
		s.small = append(s.small, one)
	}
	if lead && r.webp && long > smallWidths[1] {
		edge := min(long, leadWidth)
		name := fmt.Sprintf("%s-%d.webp", stem, leadWidth)
		o, _, err := r.file(name, full, func() ([]byte, int, int, error) { return asWebP(ctx, full, edge) })
		if err != nil {
			return s, err
		}
		s.wide = small{webp: name, w: o.W, h: o.H}
	}
	return s, nil
}

// both makes one size in JPEG and, when wanted, in WebP.
func (r *reducer) both(ctx context.Context, full *lazy, stem string, edge int) (small, error) {
	o, data, err := r.file(stem+".jpg", full, func() ([]byte, int, int, error) { return asJPEG(ctx, full, edge) })
	if err != nil {
		return small{}, err
	}
	one := small{href: stem + ".jpg", w: o.W, h: o.H, data: data}
	if r.webp {
		one.webp = stem + ".webp"
		_, _, err = r.file(one.webp, full, func() ([]byte, int, int, error) { return asWebP(ctx, full, edge) })
	}
	return one, err
}

// file returns the reduced file of a name, and makes it unless it is there unchanged
// and from the same picture.
func (r *reducer) file(name string, full *lazy, make func() ([]byte, int, int, error)) (origin, []byte, error) {
	p := filepath.Join(r.dir, filepath.FromSlash(name))
	r.mu.Lock()
	o, ok := r.made[name]
	r.mu.Unlock()
	if ok && o.Source == full.sum() {
		if data, err := os.ReadFile(p); err == nil && hexSum(data) == o.Sum {
			return o, data, nil
		}
	}
	data, w, h, err := make()
	if err != nil {
		return o, nil, fmt.Errorf("%s: %w", name, err)
	}
	o = origin{full.sum(), hexSum(data), w, h}
	r.mu.Lock()
	r.made[name] = o
	r.mu.Unlock()
	return o, data, writeFile(p, data)
}

func hexSum(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// lazy is a delivered picture that is decoded, and reduced to a size, once, when it is
// needed.
type lazy struct {
	data   []byte
	name   string
	hash   string
	img    *jpegfile.Image
	little map[int]*jpegfile.Image
}

func (l *lazy) sum() string {
	if l.hash == "" {
		l.hash = hexSum(l.data)
	}
	return l.hash
}

// at is the picture with the given long edge, or its own size when that is smaller.
func (l *lazy) at(ctx context.Context, edge int) (*jpegfile.Image, error) {
	if m := l.little[edge]; m != nil {
		return m, nil
	}
	if l.img == nil {
		var err error
		if l.img, err = jpegfile.Decode(l.data, 2*smallWidths[1]); err != nil {
			return nil, err
		}
		l.little = map[int]*jpegfile.Image{}
	}
	f := Pixels{LongEdge: edge}.fit(l.img.W, l.img.H)
	m, err := reduceCoded(ctx, l.img, f.outW, f.outH, sharpenAmount(f.factor(), 1)/2)
	if err == nil {
		l.little[edge] = m
	}
	return m, err
}

func asJPEG(ctx context.Context, full *lazy, edge int) ([]byte, int, int, error) {
	m, err := full.at(ctx, edge)
	if err != nil {
		return nil, 0, 0, err
	}
	c, ok, err := search(ctx, m, smallRules, 0)
	if err != nil || !ok {
		return nil, 0, 0, errors.Join(err, fmt.Errorf("no small version fits %d bytes", smallRules.MaxBytes))
	}
	out, err := jpegfile.Splice(c.data, []jpegfile.Segment{imprint.ProfileSegment()})
	return out, m.W, m.H, err
}

func asWebP(ctx context.Context, full *lazy, edge int) ([]byte, int, int, error) {
	m, err := full.at(ctx, edge)
	if err != nil {
		return nil, 0, 0, err
	}
	img := image.NewNRGBA(image.Rect(0, 0, m.W, m.H))
	for i, j := 0, 0; i < len(m.Pix); i, j = i+3, j+4 {
		img.Pix[j], img.Pix[j+1], img.Pix[j+2], img.Pix[j+3] = m.Pix[i], m.Pix[i+1], m.Pix[i+2], 255
	}
	var b bytes.Buffer
	err = webp.Encode(&b, img, webpOptions)
	return b.Bytes(), m.W, m.H, err
}
