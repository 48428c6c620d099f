package colour

import "testing"

// Published matrices for whites (.95045593, 1, 1.08905775) to (.96429568, 1,
// .82510460): colour-science's test_vonkries.
func TestAdapt(t *testing.T) {
	from, to := Vec3{.95045593, 1, 1.08905775}, Vec3{.96429568, 1, .82510460}
	for _, c := range []struct {
		name string
		cone Mat3
		want Mat3
	}{
		{"Bradford", Bradford, Mat3{{1.04792979, .02294687, -.05019227}, {.02962781, .99043443, -.01707380}, {-.00924304, .01505519, .75187428}}},
		{"CAT02", CAT02, Mat3{{1.04257389, .03089108, -.05281257}, {.02219345, 1.00185663, -.02107375}, {-.00116488, -.00342053, .76178907}}},
		{"von Kries", VonKries, Mat3{{1.01611856, .05535971, -.05219186}, {.00608087, .99555604, -.00122642}, {0, 0, .75763163}}},
		{"XYZ scaling", Identity, Mat3{{1.01456117, 0, 0}, {0, 1, 0}, {0, 0, .75763163}}},
	} {
		nearMat(t, c.name, Adapt(c.cone, from, to), c.want, 1e-8)
	}
}

// What any adaptation must do: take white to white and undo itself.
func TestAdaptProperties(t *testing.T) {
	for _, cone := range []Mat3{Bradford, CAT02, CAT16, VonKries, Identity} {
		m := Adapt(cone, IlluminantA.XYZ(), D65.XYZ())
		nearVec(t, "white", m.Apply(IlluminantA.XYZ()), D65.XYZ(), 1e-12)
		nearMat(t, "undone", m.Mul(Adapt(cone, D65.XYZ(), IlluminantA.XYZ())), Identity, 1e-12)
	}
	// Li et al. 2017 chose the rows so that the equal-energy white gives ones.
	nearVec(t, "CAT16 of illuminant E", CAT16.Apply(IlluminantE.XYZ()), Vec3{1, 1, 1}, 2e-6)
}

func TestBalanceBT2020(t *testing.T) {
	light := Light(2700, .004)
	white := XYZToBT2020.Apply(light.XYZ())
	if !(white[0] > 2*white[2]) {
		t.Fatalf("2700 K is not orange: %v", white)
	}
	nearVec(t, "balanced white", BalanceBT2020(light).Apply(white), Vec3{1, 1, 1}, 1e-12)
	nearMat(t, "D65 is left alone", BalanceBT2020(D65), Identity, 1e-12)
}
