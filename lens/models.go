package lens

// The models below are those of the lensfun documentation (Lens distortion,
// vignetting and TCA models) and of D. C. Brown, "Close-range camera
// calibration", Photogrammetric Engineering 37(8), 1971. unit is how many
// half-diagonals of the picture one unit of the model's radius is.

// Brown is radial distortion r' = r (1 + k1 r^2 + k2 r^4 + k3 r^6) with r the
// tangent of the angle from the axis. focal is the focal length in
// half-diagonals of the picture.
func Brown(k1, k2, k3, focal float64) Radial {
	return Radial{1, 0, k1, 0, k2, 0, k3}.in(1 / focal)
}

// poly3 is r' = r (1 - k1 + k1 r^2).
func poly3(k1, unit float64) Radial { return Radial{1 - k1, 0, k1}.in(1 / unit) }

// poly5 is r' = r (1 + k1 r^2 + k2 r^4).
func poly5(k1, k2, unit float64) Radial { return Radial{1, 0, k1, 0, k2}.in(1 / unit) }

// ptlens is r' = r (a r^3 + b r^2 + c r + 1 - a - b - c).
func ptlens(a, b, c, unit float64) Radial {
	return Radial{1 - a - b - c, c, b, a}.in(1 / unit)
}

// lateral is r' = r (v + c r + b r^2), for one of red and blue.
func lateral(v, c, b, unit float64) Radial { return Radial{v, c, b}.in(1 / unit) }

// falloff is 1 + k1 r^2 + k2 r^4 + k3 r^6.
func falloff(k1, k2, k3, unit float64) Radial {
	return Radial{1, 0, k1, 0, k2, 0, k3}.in(1 / unit)
}
