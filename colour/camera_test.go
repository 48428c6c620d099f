package colour

import "testing"

// The worked example of colour-hdri's DNG tests: lights of 2850 and 6500 K.
var worked = Calibration{
	Matrix1: Mat3{{.5309, -.0229, -.0336}, {-.6241, 1.3265, .3337}, {-.0817, .1215, .6664}}, CCT1: 2850,
	Matrix2: Mat3{{.4716, .0603, -.0830}, {-.7798, 1.5474, .2480}, {-.1496, .1937, .6651}}, CCT2: 6500,
}

func TestCalibrationAt(t *testing.T) {
	want := Mat3{{.48549082, .04081068, -.07142822}, {-.74332781, 1.49565493, .26807493}, {-.13369466, .17678740, .66540452}}
	nearMat(t, "5000 K", worked.At(5000), want, 1e-8)
	nearMat(t, "1000 K", worked.At(1000), worked.Matrix1, 0)
	nearMat(t, "10000 K", worked.At(10000), worked.Matrix2, 0)
	swapped := Calibration{Matrix1: worked.Matrix2, CCT1: worked.CCT2, Matrix2: worked.Matrix1, CCT2: worked.CCT1}
	nearMat(t, "lights in the other order", swapped.At(5000), want, 1e-8)
	one := Calibration{Matrix1: worked.Matrix1, CCT1: 2850}
	nearMat(t, "one light", one.At(5000), worked.Matrix1, 0)
}

func TestNeutral(t *testing.T) {
	light := XY{.32816244, .34698169}
	nearVec(t, "neutral", worked.Neutral(light), Vec3{.41306999, 1, .64646500}, 1e-6)
	corrected := worked
	corrected.Correction = Diag(Vec3{.9603, 1, .9664})
	nearVec(t, "neutral with camera calibration", corrected.Neutral(light), Vec3{.39667111, 1, .62474378}, 1e-6)
	for _, c := range []Calibration{worked, corrected} {
		back, err := c.Light(c.Neutral(light))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "x", back.X, light.X, 1e-6)
		near(t, "y", back.Y, light.Y, 1e-6)
	}
}

func TestLightRefusesNonsense(t *testing.T) {
	if _, err := worked.Light(Vec3{0, 1, .5}); err == nil {
		t.Error("a neutral without red was taken")
	}
	if _, _, err := CameraToScene(Mat3{}, Mat3{}, 0, 0, Vec3{}); err == nil {
		t.Error("an empty matrix was taken")
	}
}

// A camera that obeys its matrix: the scene colour comes back, light and all.
func TestCameraToScene(t *testing.T) {
	scene := Vec3{.8, .45, .13} // an orange-lit surface, linear BT.2020
	for _, kelvin := range []float64{2700, 4100, 6504} {
		light := Light(kelvin, .002)
		k, _ := CCTRobertson(light)
		m := worked.At(k)
		green := m.Apply(D65.XYZ())[1]
		camera := m.Apply(BT2020ToXYZ.Apply(scene))
		for i := range camera {
			camera[i] /= green
		}
		to, got, err := CameraToScene(worked.Matrix1, worked.Matrix2, worked.CCT1, worked.CCT2, worked.Neutral(light))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "x of the light", got.X, light.X, 1e-6)
		near(t, "y of the light", got.Y, light.Y, 1e-6)
		nearVec(t, "scene colour", to.Apply(camera), scene, 1e-5)
	}
	_, unknown, err := CameraToScene(worked.Matrix1, worked.Matrix2, worked.CCT1, worked.CCT2, Vec3{})
	if err != nil || unknown.Known() {
		t.Errorf("without a neutral: light %v, error %v", unknown, err)
	}
}
