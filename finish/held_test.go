package finish

import (
	"strings"
	"testing"

	"mullion/tone"
)

// A room that was left dark on purpose is said, a room that was not is not.
func TestHeldRoomIsSaid(t *testing.T) {
	for _, c := range []struct {
		ev   float64
		said bool
	}{{0, false}, {heldNote - .01, false}, {1.2, true}} {
		p := &picture{tone: tone.Report{HeldEV: c.ev}}
		list := p.told()
		if said := len(list) == 1 && list[0].Code == "room-held" && strings.Contains(list[0].Message, "1.2 EV"); said != c.said {
			t.Errorf("%.2f EV: %v", c.ev, list)
		}
	}
}
