package finish

import (
	"context"
	"strings"

	"mullion/plumb"
	"mullion/removal/dust"
	"mullion/shoot"
	"mullion/tone"
	"mullion/whitebalance"
)

// neighbours is what the shoot's views tell one of them. It is part of its pictures' key:
// what the neighbours say decides how it looks.
type neighbours struct {
	Light  *whitebalance.Accord `json:",omitempty"` // of its room
	Levels *tone.Anchors        `json:",omitempty"` // of its room
	Plumb  plumb.Shared         // the lens, and how the camera was held
	Dust   []dust.Spot          `json:",omitempty"` // on its sensor
}

// together solves for everything the views of a shoot have in common, by their
// soundings; a view without one has no part in it and learns nothing.
func together(ctx context.Context, views []shoot.View, soundings map[string]*sounding) (map[string]neighbours, error) {
	lines := make([]plumb.Evidence, len(views))
	lights := make([]whitebalance.View, len(views))
	var specks []*dust.Evidence
	rooms := map[string][]*sounding{}
	for i, v := range views {
		s := soundings[v.ID]
		if s == nil {
			continue
		}
		lines[i] = s.Lines
		lights[i] = whitebalance.View{Room: roomOf(v), Evidence: s.Light}
		specks = append(specks, s.Dust)
		if room := roomOf(v); room != "" {
			rooms[room] = append(rooms[room], s)
		}
	}
	held, err := plumb.Together(ctx, lines)
	if err != nil {
		return nil, err
	}
	spots := dust.Solve(specks)
	accords := whitebalance.Agree(lights)
	out := map[string]neighbours{}
	for i, v := range views {
		s := soundings[v.ID]
		if s == nil {
			continue
		}
		n := neighbours{Plumb: held[i]}
		if s.Dust != nil {
			n.Dust = spots[s.Dust.Group]
		}
		if room := rooms[roomOf(v)]; len(room) > 1 {
			n.Levels = agree(room)
		}
		if accords[i].Views > 1 {
			n.Light = &accords[i]
		}
		out[v.ID] = n
	}
	return out, nil
}

// roomOf is the name under which views count as being of one room; empty is none.
func roomOf(v shoot.View) string { return strings.ToLower(strings.Join(strings.Fields(v.Room), " ")) }

// agree returns the levels that the views of one room share.
func agree(room []*sounding) *tone.Anchors {
	var levels []tone.Anchors
	for _, s := range room {
		if s.Levels != nil {
			levels = append(levels, *s.Levels)
		}
	}
	return tone.Agree(levels...)
}
