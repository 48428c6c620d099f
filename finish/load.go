package finish

import (
	"context"
	"path/filepath"

	"mullion/internal/raster"
	"mullion/shoot"
)

// load finds the reduced radiance in the cache or makes it from the frames.
func (p *Previews) load(ctx context.Context, v shoot.View) (*reduced, error) {
	around, err := p.neighbours(ctx, v)
	if err != nil {
		return nil, err
	}
	path, err := keptPath(filepath.Join(p.dir, "cache"), v, around)
	if err != nil {
		return nil, err
	}
	if k, err := readKept(path); err == nil {
		k.Around = around
		return k, nil
	}
	k, err := measureView(ctx, p.paths(v), around)
	if err != nil {
		return nil, err
	}
	k.store(path)
	return k, nil
}

// measureView merges and measures a bracket and keeps the reduced radiance.
func measureView(ctx context.Context, paths []string, around neighbours) (*reduced, error) {
	p := &picture{clock: &Clock{}, around: around}
	var err error
	if p.scene, err = Merge(ctx, paths, p.clock); err != nil {
		return nil, err
	}
	p.findings = append(p.findings, p.scene.Findings...)
	if err := p.mendDust(ctx, around.Dust); err != nil {
		return nil, err
	}
	src := p.scene.RGB
	defer raster.PutRGB(src)
	if err := p.upright(ctx, src, nil); err != nil {
		return nil, err
	}
	return p.keep(ctx, src)
}

// neighbours is what the shoot's views say of one, as far as a run has sounded them.
func (p *Previews) neighbours(ctx context.Context, v shoot.View) (neighbours, error) {
	doc, err := shoot.Read(p.dir)
	if err != nil {
		return neighbours{}, err
	}
	asked := ""
	for _, o := range doc.Views {
		key, err := shoot.Key(o.Frames, roomOf(o), nil, soundingEngine)
		if err != nil {
			return neighbours{}, err
		}
		asked += o.ID + " " + key + "\n"
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if asked != p.asked {
		found := map[string]*sounding{}
		for _, o := range doc.Views {
			if found[o.ID] = recallSounding(filepath.Join(p.dir, "cache"), o); found[o.ID] == nil {
				asked = "" // a run may sound it before the next question
			}
		}
		if p.around, err = together(ctx, doc.Views, found); err != nil {
			return neighbours{}, err
		}
		p.asked = asked
	}
	return p.around[v.ID], nil
}
