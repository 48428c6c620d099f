package colour

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// near fails unless got lies within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func nearMat(t *testing.T, what string, got, want Mat3, tol float64) {
	t.Helper()
	for i := range 3 {
		for j := range 3 {
			if !(math.Abs(got[i][j]-want[i][j]) <= tol) {
				t.Errorf("%s: row %d column %d: got %.9g, want %.9g within %g", what, i, j, got[i][j], want[i][j], tol)
			}
		}
	}
}

func nearVec(t *testing.T, what string, got, want Vec3, tol float64) {
	t.Helper()
	for i := range 3 {
		near(t, what, got[i], want[i], tol)
	}
}

// reference reads a table of the folder of reference data, without its heading.
func reference(t *testing.T, name string) [][]string {
	t.Helper()
	root := os.Getenv("MULLION_TESTDATA")
	if root == "" {
		t.Skip("MULLION_TESTDATA is not set: no reference tables")
	}
	f, err := os.Open(filepath.Join(root, "realdata", "reference", "colour", name))
	if err != nil {
		t.Skip(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s has no rows", name)
	}
	return rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
