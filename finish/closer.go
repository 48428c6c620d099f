package finish

import (
	"context"
	"path/filepath"
	"sync"

	"mullion/internal/raster"
	"mullion/shoot"
)

// closer is the full-size radiance of the view that was last looked at closely, dust mended,
// as the sensor lies: whoever changes its light and looks again waits for no merge. Its
// pixels wait in a file without a name, which goes with the process.
type closer struct {
	mu    sync.Mutex
	key   string
	scene *Scene // without its pixels
	laid  *laid
}

// radiance gives pic the scene of a view in full size, dust mended.
func (p *Previews) radiance(ctx context.Context, v shoot.View, k *reduced, pic *picture) (err error) {
	cache := filepath.Join(p.dir, "cache")
	key, err := keptPath(cache, v, k.Around)
	if err != nil {
		return err
	}
	if pic.scene = p.closer.look(key); pic.scene != nil {
		return nil // what was found in it is among what was kept
	}
	if pic.scene, err = Merge(ctx, p.paths(v), nil); err != nil {
		return err
	}
	if err := pic.mendDust(ctx, k.Around.Dust); err != nil {
		return err
	}
	p.closer.keep(cache, key, pic.scene)
	return nil
}

// look returns the scene if it is the one that was seen last, or nil.
func (s *closer) look(key string) *Scene {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.laid == nil || s.key != key {
		return nil
	}
	planes := s.laid.read()
	if planes == nil {
		return nil
	}
	scene := *s.scene
	scene.RGB = &raster.RGB{planes[0], planes[1], planes[2]}
	return &scene
}

// keep has the scene instead of the one before. Where the disk has no room it keeps none.
func (s *closer) keep(dir, key string, scene *Scene) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.laid.close()
	bare := *scene
	bare.RGB = nil
	s.key, s.scene, s.laid = key, &bare, lay(dir, scene.RGB[:])
}
