// Package studio serves the pages on which a photographer looks over a finished house:
// the walk, a view, the delivery, and a start page without a shoot. The program has
// made every picture already; the person touches only what is wrong.
//
// # One way
//
// A page asks, the server answers, the shoot is changed. What is on a page comes from
// shoot.json and the live pictures of package finish; what a person does is one
// request that says it whole ("the room's light of view-03 is +0.4 EV"). Every change
// goes through one function, [house.change], which writes what was there before into
// the shoot's journal, so that everything can be undone. Pages hold no truth of their
// own: an event tells them that the shoot has changed, and they ask again.
//
// # What goes on behind
//
// One job at a time is asked for: taking in, delivering, sending. By itself the studio has
// package check look over the copied originals of the shoot that is open ([Server.check])
// and keeps what it finds in the cache. It lets jobs and pictures go first and ends with
// the server.
//
// # Who may ask
//
// The server listens on the loopback address only and on a free port. The address it
// prints holds a key nobody can guess; opening it once sets a cookie that scripts
// can't read and other sites can't send. Every request must name this host, every
// change must come from this origin, and pages may load nothing from elsewhere. Paths
// in requests name views and deliveries, never files.
package studio
