// Package colour is the colour science of the house: colour spaces, the colour
// of lights, adaptation from one light to another, camera calibration and
// colour differences.
//
// Everything is float64 and exact to the published formulas, except the few
// functions named ...Row, which work on rows of float32 planes and state their
// error. Three conventions hold throughout:
//
//   - XYZ is CIE 1931, 2 degree observer, with Y = 1 for the white at hand.
//   - Linear RGB is scene-linear with D65 at (1, 1, 1). The house space is
//     BT.2020. Before white balance a picture keeps the colour of its light: a
//     white wall under a tungsten lamp is orange in it.
//   - A light is named by its chromaticity [XY], or by its correlated colour
//     temperature in kelvin and Duv, its signed distance from the Planckian
//     locus in CIE 1960 uv (positive is above the locus, towards green).
package colour
