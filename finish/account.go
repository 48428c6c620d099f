package finish

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"mullion/shoot"
)

// Account is what the last run that finished a view said about it, as far as the
// shoot's cache still has it.
func Account(dir string, v shoot.View) (ViewReport, bool) {
	for _, name := range slices.Sorted(maps.Keys(v.Done)) {
		if r, ok := AccountOf(dir, v.Done[name].Key); ok {
			return r, true
		}
	}
	return ViewReport{}, false
}

// AccountOf is what the run that made a delivered file said about its view; key is that
// of the file's [shoot.Done].
func AccountOf(dir, key string) (ViewReport, bool) {
	b, err := os.ReadFile(accountPath(filepath.Join(dir, "cache"), key))
	var r ViewReport
	return r, err == nil && json.Unmarshal(b, &r) == nil
}
