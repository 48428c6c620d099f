package finish

import (
	"maps"
	"math"
	"sync"
	"time"
)

// Clock adds up how long each station of one view took. A nil clock measures
// nothing.
type Clock struct {
	mu    sync.Mutex
	spent map[string]time.Duration
}

// Start begins a station's time; the function it returns ends it.
func (c *Clock) Start(station string) (done func()) {
	if c == nil {
		return func() {}
	}
	begin := time.Now()
	return func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		if c.spent == nil {
			c.spent = map[string]time.Duration{}
		}
		c.spent[station] += time.Since(begin)
	}
}

// Seconds returns the time of each station in s, to the millisecond.
func (c *Clock) Seconds() map[string]float64 {
	out := map[string]float64{}
	if c == nil {
		return out
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	for station, d := range maps.All(c.spent) {
		out[station] = math.Round(d.Seconds()*1000) / 1000
	}
	return out
}
