// Package pointing is the pointing model: where the tube truly looks at a pose, as far as the solves that were accepted tell. It fits
// what bends a perfect mount (index errors, cone error, axes not at right angles, axis 1 not where it should stand, flexure)
// one solve after the other, from stated priors, and says how sure it is of each term and of each direction.
//
// Terms are radians. Directions are unit vectors of the rig frame as seen, refraction included. A difference of directions is resolved
// across the tube (toward axis 2 as it stands at the pose) and along it (the way axis 2 grows), which has no seam at the ends of axis 1. The
// model serves the judging of solves: clearance never goes by where it says that the tube looks. That solves go on lying where the settled fit
// has them bounds what a reckoned pose has lost since it last learnt, and no further (pinned, in room pose).
//
// Terms that the solves of a night cannot tell apart stay as uncertain together as they are: what is shown of a term is its own standard
// deviation, and a direction is foretold with the covariance of all.
package pointing
