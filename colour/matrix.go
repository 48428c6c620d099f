package colour

import "math"

// Vec3 is a colour or a chromaticity triple.
type Vec3 [3]float64

// Mat3 is a 3 x 3 matrix, row-major: m[row][column].
type Mat3 [3][3]float64

// Identity is the unit matrix.
var Identity = Mat3{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}

// Diag returns the diagonal matrix of v.
func Diag(v Vec3) Mat3 { return Mat3{{v[0], 0, 0}, {0, v[1], 0}, {0, 0, v[2]}} }

// Mul returns m x n: the map that applies n first.
func (m Mat3) Mul(n Mat3) Mat3 {
	var r Mat3
	for i := range 3 {
		for j := range 3 {
			r[i][j] = m[i][0]*n[0][j] + m[i][1]*n[1][j] + m[i][2]*n[2][j]
		}
	}
	return r
}

// Apply returns m x v.
func (m Mat3) Apply(v Vec3) Vec3 {
	return Vec3{
		m[0][0]*v[0] + m[0][1]*v[1] + m[0][2]*v[2],
		m[1][0]*v[0] + m[1][1]*v[1] + m[1][2]*v[2],
		m[2][0]*v[0] + m[2][1]*v[1] + m[2][2]*v[2],
	}
}

// Det returns the determinant.
func (m Mat3) Det() float64 {
	return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) -
		m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) +
		m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
}

// Inverse returns the inverse, and false when m has none worth using.
func (m Mat3) Inverse() (Mat3, bool) {
	d := m.Det()
	if math.Abs(d) < 1e-12 || math.IsNaN(d) {
		return Identity, false
	}
	s := 1 / d
	return Mat3{
		{s * (m[1][1]*m[2][2] - m[1][2]*m[2][1]), s * (m[0][2]*m[2][1] - m[0][1]*m[2][2]), s * (m[0][1]*m[1][2] - m[0][2]*m[1][1])},
		{s * (m[1][2]*m[2][0] - m[1][0]*m[2][2]), s * (m[0][0]*m[2][2] - m[0][2]*m[2][0]), s * (m[0][2]*m[1][0] - m[0][0]*m[1][2])},
		{s * (m[1][0]*m[2][1] - m[1][1]*m[2][0]), s * (m[0][1]*m[2][0] - m[0][0]*m[2][1]), s * (m[0][0]*m[1][1] - m[0][1]*m[1][0])},
	}, true
}
