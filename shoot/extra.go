package shoot

import (
	"bytes"
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// Extra is the fields of a JSON object that this version doesn't know.
type Extra map[string]json.RawMessage

// decode fills v, a pointer to a struct without methods, and returns the fields it
// has no place for.
func decode(data []byte, v any) (Extra, error) {
	if err := json.Unmarshal(data, v); err != nil {
		return nil, err
	}
	var all Extra
	if err := json.Unmarshal(data, &all); err != nil {
		return nil, err
	}
	t := reflect.TypeOf(v).Elem()
	maps.DeleteFunc(all, func(key string, _ json.RawMessage) bool {
		for i := range t.NumField() {
			name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			if strings.EqualFold(name, key) { // encoding/json takes names of any case
				return true
			}
		}
		return false
	})
	if len(all) == 0 {
		return nil, nil
	}
	return all, nil
}

// encode writes v, a struct without methods, and then the other fields by name.
func encode(v any, extra Extra) ([]byte, error) {
	data, err := json.Marshal(v)
	if err != nil || len(extra) == 0 {
		return data, err
	}
	b := bytes.NewBuffer(bytes.TrimSuffix(data, []byte("}")))
	for _, key := range slices.Sorted(maps.Keys(extra)) {
		if b.Len() > 1 {
			b.WriteByte(',')
		}
		name, err := json.Marshal(key)
		if err != nil {
			return nil, err
		}
		b.Write(name)
		b.WriteByte(':')
		b.Write(extra[key])
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// The plain types are the same structs without the methods below.
type (
	plainDoc       Doc
	plainView      View
	plainFrame     Frame
	plainDecisions Decisions
	plainLevel     Level
	plainWarmth    Warmth
	plainEdit      Edit
	plainDone      Done
	plainOutput    Output
	plainPack      Pack
	plainSent      Sent
)

func (d Doc) MarshalJSON() ([]byte, error)       { return encode(plainDoc(d), d.Extra) }
func (v View) MarshalJSON() ([]byte, error)      { return encode(plainView(v), v.Extra) }
func (f Frame) MarshalJSON() ([]byte, error)     { return encode(plainFrame(f), f.Extra) }
func (c Decisions) MarshalJSON() ([]byte, error) { return encode(plainDecisions(c), c.Extra) }
func (l Level) MarshalJSON() ([]byte, error)     { return encode(plainLevel(l), l.Extra) }
func (w Warmth) MarshalJSON() ([]byte, error)    { return encode(plainWarmth(w), w.Extra) }
func (e Edit) MarshalJSON() ([]byte, error)      { return encode(plainEdit(e), e.Extra) }
func (d Done) MarshalJSON() ([]byte, error)      { return encode(plainDone(d), d.Extra) }
func (o Output) MarshalJSON() ([]byte, error)    { return encode(plainOutput(o), o.Extra) }
func (p Pack) MarshalJSON() ([]byte, error)      { return encode(plainPack(p), p.Extra) }
func (s Sent) MarshalJSON() ([]byte, error)      { return encode(plainSent(s), s.Extra) }

// IsZero reports whether nothing was decided and nothing unknown is kept.
func (c Decisions) IsZero() bool {
	return c.RoomEV == nil && c.WindowEV == nil && c.Level == nil && c.RoomWarmth == nil && c.WindowWarmth == nil && !c.LeaveOut && len(c.Extra) == 0
}

func (d *Doc) UnmarshalJSON(b []byte) (err error)  { d.Extra, err = decode(b, (*plainDoc)(d)); return }
func (v *View) UnmarshalJSON(b []byte) (err error) { v.Extra, err = decode(b, (*plainView)(v)); return }
func (f *Frame) UnmarshalJSON(b []byte) (err error) {
	f.Extra, err = decode(b, (*plainFrame)(f))
	return
}
func (c *Decisions) UnmarshalJSON(b []byte) (err error) {
	c.Extra, err = decode(b, (*plainDecisions)(c))
	return
}
func (l *Level) UnmarshalJSON(b []byte) (err error) {
	l.Extra, err = decode(b, (*plainLevel)(l))
	return
}
func (w *Warmth) UnmarshalJSON(b []byte) (err error) {
	w.Extra, err = decode(b, (*plainWarmth)(w))
	return
}
func (e *Edit) UnmarshalJSON(b []byte) (err error) { e.Extra, err = decode(b, (*plainEdit)(e)); return }
func (d *Done) UnmarshalJSON(b []byte) (err error) { d.Extra, err = decode(b, (*plainDone)(d)); return }
func (o *Output) UnmarshalJSON(b []byte) (err error) {
	o.Extra, err = decode(b, (*plainOutput)(o))
	return
}
func (p *Pack) UnmarshalJSON(b []byte) (err error) { p.Extra, err = decode(b, (*plainPack)(p)); return }
func (s *Sent) UnmarshalJSON(b []byte) (err error) { s.Extra, err = decode(b, (*plainSent)(s)); return }
