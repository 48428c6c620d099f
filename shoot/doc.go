package shoot

import (
	"bytes"
	"encoding/json"
	"time"
)

// Version is the format this program writes. Additions keep the number; it grows
// only when an older program would misread the file.
const Version = 1

// Doc is the contents of shoot.json. Extra, here and below, holds the fields this
// version doesn't know; they are written back as they were.
type Doc struct {
	Version  int       `json:"version"`
	Created  time.Time `json:"created,omitzero"`
	LastView int       `json:"last_view,omitempty"` // the highest number a view has ever had
	Views    []View    `json:"views"`               // in shooting order
	Pack     *Pack     `json:"pack,omitempty"`      // how the pictures are handed over; nil when nobody said

	Extra Extra `json:"-"`
}

// View is one composition.
type View struct {
	ID        string    `json:"id"`              // "view-01": for good, whatever is added later
	Order     int       `json:"order,omitempty"` // place in the gallery from 1; 0: by itself, see deliver.Arrange
	Room      string    `json:"room,omitempty"`
	Caption   string    `json:"caption,omitempty"` // of the user's own; made from the room when empty
	Alt       string    `json:"alt,omitempty"`     // for those who don't see the picture; the same
	Frames    []Frame   `json:"frames"`            // darkest first
	Reasons   []string  `json:"reasons,omitempty"`
	Decisions Decisions `json:"decisions,omitzero"`
	Edits     []Edit    `json:"edits,omitempty"`     // removals and softenings, in the order they were asked for
	LastEdit  int       `json:"last_edit,omitempty"` // the highest number an edit has ever had
	// Done tells what has been finished, by delivery.
	Done map[string]Done `json:"done,omitempty"`

	Extra Extra `json:"-"`
}

// Pack is how the pictures of a shoot are handed over.
type Pack struct {
	Title    string `json:"title,omitempty"`    // heading of the pages
	Subtitle string `json:"subtitle,omitempty"` // one line below it
	Branded  bool   `json:"branded,omitempty"`  // the photographer is named on the pages
	Letter   bool   `json:"letter,omitempty"`   // contact sheet on US Letter paper
	Count    int    `json:"count,omitempty"`    // pictures that were agreed on; the surplus is set aside; 0: all
	// Sheets are the delivery sheets that were chosen on the page: names of those that are
	// built in, whole paths of others; empty when nobody chose.
	Sheets []string `json:"sheets,omitempty"`
	// Sent is where deliveries went, the latest of each delivery and place.
	Sent []Sent `json:"sent,omitempty"`

	Extra Extra `json:"-"`
}

// Sent is a delivery that arrived whole: every file was read back and compared.
type Sent struct {
	Delivery string    `json:"delivery"`
	To       string    `json:"to"` // without any password
	At       time.Time `json:"at"`
	Files    int       `json:"files"`
	Bytes    int64     `json:"bytes"`
	Record   string    `json:"record_sha256"` // of the edit record that went along

	Extra Extra `json:"-"`
}

// Frame is one camera file.
type Frame struct {
	Path   string  `json:"path"`   // below the shoot folder with forward slashes, or absolute when left in place
	SHA256 string  `json:"sha256"` // lower-case hex
	EV     float64 `json:"ev"`     // against the reference frame; + is brighter

	Extra Extra `json:"-"`
}

// Decisions are what a person decided about a view. Nothing set means: by measure.
type Decisions struct {
	RoomEV   *float64 `json:"room_ev,omitempty"`   // room light, + is brighter
	WindowEV *float64 `json:"window_ev,omitempty"` // window light, + is brighter
	Level    *Level   `json:"level,omitempty"`     // the camera's attitude, set by hand
	LeaveOut bool     `json:"leave_out,omitempty"` // not delivered
	// RoomWarmth and WindowWarmth change the light that is taken for white, indoors
	// and behind glass, from what was measured.
	RoomWarmth   *Warmth `json:"room_warmth,omitempty"`
	WindowWarmth *Warmth `json:"window_warmth,omitempty"`

	Extra Extra `json:"-"`
}

// Warmth is a change of the light that is taken for white. Mired (a million over
// kelvin) is in steps that look alike at any colour temperature: + takes the light
// for cooler and so makes the picture warmer. Duv + takes it for greener and makes
// the picture more magenta.
type Warmth struct {
	Mired float64 `json:"mired"`
	Duv   float64 `json:"duv,omitempty"`

	Extra Extra `json:"-"`
}

// Level is a camera's attitude in degrees: pitch + looks up, roll + is turned
// clockwise seen from behind, yaw + is turned right.
type Level struct {
	PitchDeg float64 `json:"pitch_deg"`
	RollDeg  float64 `json:"roll_deg"`
	YawDeg   float64 `json:"yaw_deg,omitempty"`

	Extra Extra `json:"-"`
}

// Done is a finished piece of work: what it was made from and what came of it.
type Done struct {
	Key     string    `json:"key"` // see Key
	At      time.Time `json:"at,omitzero"`
	Outputs []Output  `json:"outputs"`

	Extra Extra `json:"-"`
}

// Output is one file that was written.
type Output struct {
	Path   string `json:"path"` // below the shoot folder with forward slashes
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"` // in bytes

	Extra Extra `json:"-"`
}

// upgrade brings a document of an older version to this one's meaning. Format 0
// (no number) is format 1 without last_view.
func (d *Doc) upgrade() {
	for _, v := range d.Views {
		d.LastView = max(d.LastView, number(v.ID))
	}
	d.Version = Version
}

func (d *Doc) bytes() ([]byte, error) {
	if d.Views == nil {
		d.Views = []View{}
	}
	plain, err := json.Marshal(d)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := json.Indent(&b, plain, "", "  "); err != nil {
		return nil, err
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

// clone copies the document with everything in it.
func (d *Doc) clone() *Doc {
	data, err := d.bytes()
	if err != nil {
		panic("shoot: a document that was read or written can't be encoded: " + err.Error())
	}
	c := &Doc{}
	if err := json.Unmarshal(data, c); err != nil {
		panic("shoot: a document does not survive its own encoding: " + err.Error())
	}
	return c
}

// View returns the view of an ID, or nil.
func (d *Doc) View(id string) *View {
	for i := range d.Views {
		if d.Views[i].ID == id {
			return &d.Views[i]
		}
	}
	return nil
}
