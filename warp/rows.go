package warp

// The hottest rows exist twice: in Go, which says what they compute and serves
// every processor, and in AVX2 (rows_amd64.s, written by internal/avo). Tests
// hold the second to the first.

//go:generate sh -c "cd ../internal/avo && go run ./warp -out ../../warp/rows_amd64.s -stubs ../../warp/rows_amd64.go -pkg warp"

// beyond is how many samples past the last kernel the fast rows may load (and
// multiply by 0): blocks are that much longer.
const beyond = 24
