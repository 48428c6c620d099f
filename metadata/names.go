package metadata

import (
	"path/filepath"
	"strings"
)

// The endings of sensor data files that LibRaw's list of cameras covers, and of
// the rendered files the house reads.
var (
	rawEndings = endings(`3fr ari arw bay cap cr2 cr3 crw dcr dcs dng drf erf fff gpr iiq k25 kdc mdc
		mef mos mrw nef nrw orf pef ptx pxn raf raw rw2 rwl rwz sr2 srf srw x3f`)
	renderedEndings = endings(`jpg jpeg jpe tif tiff png heic heif hif`)
)

func endings(list string) map[string]bool {
	m := map[string]bool{}
	for _, e := range strings.Fields(list) {
		m["."+e] = true
	}
	return m
}

func ending(name string) string { return strings.ToLower(filepath.Ext(name)) }

// hidden is true of the companions some systems leave beside a file ("._A.DNG").
func hidden(name string) bool { return strings.HasPrefix(filepath.Base(name), ".") }

// IsFrameName reports whether a file's name is that of a picture the house reads.
func IsFrameName(name string) bool {
	e := ending(name)
	return !hidden(name) && (rawEndings[e] || renderedEndings[e])
}

// IsRawName reports whether a file's name is that of a sensor data file.
func IsRawName(name string) bool { return !hidden(name) && rawEndings[ending(name)] }
