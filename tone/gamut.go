package tone

import "math"

// peak is the brightest any channel gets, code 250 of 255: rounding, resizing and
// sharpening for the delivered size may add four codes without reaching the top, where
// a coloured highlight would lose a channel.
const peak = 0.957

// chromaKnee is the part of the way to the gamut's edge up to which colours are
// left alone; the rest is drawn in smoothly.
const chromaKnee = 0.8

// intoGamut maps a linear BT.709 colour into the unit cube. Lightness and hue of
// Oklab (Ottosson 2020) stay; chroma is reduced by a smooth knee, so that no two
// different colours fall on one.
func intoGamut(r, g, b float32) (float32, float32, float32) {
	L, A, B := toOklab(r, g, b)
	if !(L > 0) {
		return 0, 0, 0
	}
	if L > maxL {
		L = maxL
	}
	// The largest multiple t of the chroma that is inside.
	lo, hi := float32(0), float32(1/chromaKnee)
	if inside(fromOklab(L, A*hi, B*hi)) {
		return clampRGB(fromOklab(L, A, B))
	}
	for range 10 {
		t := (lo + hi) / 2
		if inside(fromOklab(L, A*t, B*t)) {
			lo = t
		} else {
			hi = t
		}
	}
	u := 1 / max(lo, 1e-4) // the colour's place: 1 is on the edge
	v := chromaKnee + (1-chromaKnee)*(1-exp2(-1.442695*(u-chromaKnee)/(1-chromaKnee)))
	t := v / u
	return clampRGB(fromOklab(L, A*t, B*t))
}

var maxL = float32(math.Cbrt(peak)) - 1e-3 // the lightness of the brightest grey

func inside(r, g, b float32) bool {
	const e = 1e-4
	return r >= -e && g >= -e && b >= -e && r <= peak+e && g <= peak+e && b <= peak+e
}

func clampRGB(r, g, b float32) (float32, float32, float32) { return clamp1(r), clamp1(g), clamp1(b) }

func clamp1(v float32) float32 {
	if v > peak {
		return peak
	}
	if v > 0 {
		return v
	}
	return 0
}

func toOklab(r, g, b float32) (float32, float32, float32) {
	l := cbrt(0.4122214708*r + 0.5363325363*g + 0.0514459929*b)
	m := cbrt(0.2119034982*r + 0.6806995451*g + 0.1073969566*b)
	s := cbrt(0.0883024619*r + 0.2817188376*g + 0.6299787005*b)
	return 0.2104542553*l + 0.7936177850*m - 0.0040720468*s,
		1.9779984951*l - 2.4285922050*m + 0.4505937099*s,
		0.0259040371*l + 0.7827717662*m - 0.8086757660*s
}

func fromOklab(L, a, b float32) (float32, float32, float32) {
	l := L + 0.3963377774*a + 0.2158037573*b
	m := L - 0.1055613458*a - 0.0638541728*b
	s := L - 0.0894841775*a - 1.2914855480*b
	l, m, s = l*l*l, m*m*m, s*s*s
	return 4.0767416621*l - 3.3077115913*m + 0.2309699292*s,
		-1.2684380046*l + 2.6097574011*m - 0.3413193965*s,
		-0.0041960863*l - 0.7034186147*m + 1.7076147010*s
}

func cbrt(x float32) float32 { return float32(math.Cbrt(float64(x))) }
