package check

// Every threshold of the check stands here, with its reason. A finding says "shoot
// again" when the picture can't be mended at the desk, "look" when it can, but an eye
// should decide, and "note" when nothing has to be done. Shooting again costs ten
// seconds on the spot and a second visit later, so what is lost for good tips the
// balance early. Where a reason names no source it is common practice, or was set
// between what sound brackets and planted faults measure (the tests of this package
// hold both).
const (
	// A photosite counts as clipped from here on, as a share of the white level: sites
	// differ by a hundredth in their response.
	clipFrom = .98

	// Windows. A darkest frame is sufficient when less than a thousandth of the glass
	// clips; up to a hundredth is glints on cars and leaves, up to a twentieth a white
	// wall in the sun, which may be white. A quarter of the glass blank is no view
	// outside, whatever is done later.
	windowNote   = .01
	windowLook   = .05
	windowReshot = .25
	windowArea   = .0005 // and of the picture: a slit of glass is no view
	// Where nothing but sky and glints clips, what a buyer looks for outside is there,
	// and a white sky is what the eye, used to the room, sees. Less than a stop too
	// bright, which the roll-off hides, it is a note, and one grade milder throughout.
	paneSkyOver  = 1.0   // EV
	onlySky      = .80   // share of what clips that has nothing but sky above it
	skyBelowClip = 1.5   // EV: what is that much darker than clipping is no sky (clear zenith to horizon: 1 to 1.5)
	glintShare   = .0003 // of the picture: the largest patch that is a glint

	// Clipped patches that are no window: the bulb and shade of a lamp cover under half
	// a hundredth of a picture, a lamp near by or a row of them a whole one. Three
	// hundredths are a sky or a window that was not recognised.
	lampShare   = .004
	blankLook   = .01
	blankReshot = .03
	// An exterior, where the large clipped patch is the sky. Clouds with a blank core
	// still read as clouds.
	skyLook   = .01
	skyReshot = .10

	// Exteriors are brighter than EV 10.5 at ISO 100: home interiors lie at 5 to 7,
	// galleries at 8 to 11, heavy overcast and open shade at 12 (ANSI PH2.7).
	exteriorEV = 10.5

	// Shadows. The hundredth darkest photosite should stand 8 times above its noise in
	// the brightest frame: under it, noise shows in a finished picture. Two stops short
	// are past mending; within the last stop the picture's reduction hides it.
	shadowSNR    = 8
	shadowLook   = .7 // EV short
	shadowReshot = 2.0
	shadowShare  = .01 // of the picture may drown: the feet of furniture, an open cupboard
	blackCode    = 4   // of 255, in a rendered file: nothing is recorded below it

	// Movement of the camera within a bracket, in full-size pixels. The tripod's own
	// play and the measurement stay under one; the merge aligns what is larger, at the
	// price of one more resampling. A hundredth of the long edge is no tripod any more:
	// near and far things then move apart, which no alignment mends.
	bumpLook   = 1.5
	bumpReshot = .01
	bumpSmall  = .3  // pixels of the reduced frame: below it the number is only noise
	bumpSeen   = .15 // of the frame must be neither black nor white for its place to be known

	// Exposure ratios: a shutter is true to a tenth of a stop, the merge measures to a
	// hundredth.
	exposureOff = .3 // EV

	// Sharpness, as the standard deviation of the point spread in full-size pixels. A
	// sound lens at its best aperture gives 0.5 to 1 on 24 megapixels. In a delivered
	// picture of 2048 pixels a blur under 0.8 of its pixels can't be seen, over 1.3
	// everybody sees it.
	softLook         = 1.7
	softReshot       = 2.6
	softDelivered    = .8
	ruinedDelivered  = 1.3
	deliveredEdge    = 2048
	softerLook       = 1.5 // one frame against the best of its view, times
	softerReshot     = 2.0
	softerTiles      = 4   // that both frames show; sound frames agree to a thirtieth in them
	softerFrom       = 1.1 // full-size pixels: under it a ratio means nothing
	shakenFrom       = 1.5 // ratio of the two directions of a blur that comes from movement
	nearLook         = 2.5 // foot of the picture against its middle, times
	fewTiles         = 6   // that have edges, before anything is said
	wavelengthMicron = .55 // green light, for the diffraction of the aperture

	// Settings. ISO 100 is the lowest true setting of most cameras (64 of some, which
	// are named in settings.go); from 400 on the noise of a shadow doubles and a
	// tripod makes it needless. A third of a stop of aperture changes depth of field
	// and corner brightness visibly within a merge.
	isoBase      = 100
	isoHigh      = 400
	apertureStep = .15 // EV
	focalStep    = .02 // share

	// Tilt. Straightening costs edges of the frame. Four hundredths are a roll of one
	// degree, two pixels in a hundred along each edge: told, because a bubble would have
	// prevented it. A tenth changes the composition, a fifth takes the top of a door or
	// a lamp with it.
	tiltNote   = .04
	tiltLook   = .10
	tiltReshot = .20

	// Colour, in mired (a million over kelvin; 5 are just noticeable, a mistaken
	// setting is 100 and more). A camera's own guess misses by up to 40.
	castLook   = 60
	castReshot = 130 // only where the colour is baked into the file
	castDuv    = .012
	castSure   = .5 // confidence of the measured light
	castViews  = 3  // views that must agree before one of them is far from its neighbours

	// Movement in the picture, shares of the frame. Under three ten-thousandths it is
	// a leaf; a fan is around half a hundredth, a person 3 to 10.
	movingNote   = .0003
	movingLook   = .002
	movingReshot = .06

	// Bands from pulsing lamps, in EV, and how much of the variation from row to row
	// one wave must explain to be called bands. A wall shows a twentieth of a stop.
	bandLook   = .04
	bandReshot = .15
	bandShare  = .5
	// Longer exposures average bands out: at 1/40 s, to under a fifth of the pulse
	// (|sin(pi F t)|/(pi F t), worst case of a pulse at F = 100 Hz).
	bandsBelow = 1. / 40
	// Half a period of 50 Hz mains, one pulse of light: shorter exposures catch a part
	// of it, by up to a quarter wrong at 1/125 s (the same formula).
	onePulse = 1. / 100
	lampWarm = 4300 // K: below it lamps give the larger part of the light
	lampLit  = .04  // of full scale: the median of a frame that tells of the room

	// Dust shows at the same place of the sensor in view after view, as a spot a few
	// hundredths darker than around it.
	dustDepth = .018 // share of the light a spot takes
	dustSigma = 6.0  // times its standard error over the views
	dustViews = 3

	// Two views of one room differ by what they look at, a stop at most; a lamp left
	// off is more.
	roomDarker = 1.3 // EV

	// Veiling flare: the darkest thousandth of a picture around a strong light against
	// its mean. A clean, coated lens scatters one to three hundredths.
	veilLook = .22

	// A frame taken with the lens covered, to mark a new room: the brightest
	// two-hundredth of it, of full scale (in a rendered file, of its code).
	markLight = .004
	markCode  = .05

	// Likeness (correlation of the reduced, flattened pictures) from which two views
	// are the same composition, and from which one was taken nearly where the other was.
	// Two rooms stay under 0.4.
	sameView  = .93
	sameScene = .7
)
