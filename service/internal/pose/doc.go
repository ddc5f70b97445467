// Package pose carries what is held of one rig over samples and events: where the axes are, from which source, and how the
// rig's open permit stands. All of it is pure: a state and a sample go in, a changed state and notices come out; nothing is
// written in place, no clock is read, and the same calls give the same state. No sample makes it panic.
//
// The pose is carried from an anchor: a sample at which the places of the axes were settled. A later place is the anchored one
// plus what the best source that is not demoted turned since: an encoder, a count, the belief less its syncs, or, with none of
// these, the ends of permitted motions. Whatever cannot be told apart stays as several candidates, each carried on by itself,
// until a homing, a person's statement or a solve settles it.
//
// Two sources that read the axes are compared, and what one behind the clutch tells otherwise than an encoder is believed no more.
//
// What stays unseen: with belief alone, a sync by somebody else that is smaller than a dither (0.1° on the sky, 0.5° in sum), or one
// given while the axes turn and small beside their speed, or while samples tell no belief; a restart that changes neither clock, site nor run mark
// while nobody looks, and leaves belief where it was or where a permitted motion should have ended. With counts too, where no run mark is told.
//
// Angles are radians, axis angles unreduced, right ascensions of date; times of samples are the asker's, times of permits the
// service's. What it does not do: judge (rules), find where a slew ends (rig), count locks or raise the epoch for grants,
// locks and revisions (decide).
package pose
