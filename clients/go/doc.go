// Package keepclear asks a keepclear service before a mount moves, and makes sure that nothing moves without an allow.
//
// A program makes one Rig with two functions of its own, one that reads a sample and one that stops the mount, and asks it: Slew,
// Track, Sync and so on return an Answer, never an error beside it, because nobody there is a hold like any other. Answer.Move runs
// the motion only on an allow that is whole: verdict and permit, repeating exactly what was sent, begun, of no older epoch, with no
// condition that this version does not know, no finding against it, and not too late since the question was first sent, a sleep of
// the machine counted; and only once, while nothing was heard or done that ends it. Anything else is a hold with its reason. While the
// motion runs a sample goes out every second; where the permit is taken back, replies stop coming, time runs out or the program breaks
// it off, the mount is stopped first and told about afterwards.
//
// A program that sends its questions itself holds each allow against Terms, which Answer does by itself.
//
// Angles are degrees, as on the wire. The package imports the API alone, keeps no file, and starts no goroutine but those of a
// motion under way. It cannot stop a mount whose program died: say in the rig file what does.
package keepclear
