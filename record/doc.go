// Package record keeps what was done to pictures beyond light, colour and geometry,
// so that whoever relies on one can know: which things may be taken out at all, what
// was taken out of which picture, where its unaltered twin is, and a signature over
// all of it.
//
// A delivery with an altered picture holds edit-record.json for programs,
// edit-record.html for people, and edit-record.sig, an Ed25519 signature (RFC 8032)
// over the first. The record lists the SHA-256 of the originals and of every file of
// the delivery, so one changed byte anywhere shows, and [Verify] names the file.
//
// What may be taken out follows the strictest rules for property advertisements that
// we read (see kind.go). They differ from place to place and change: the program
// advises, and defers to local law and to the rules of the listing service.
package record
