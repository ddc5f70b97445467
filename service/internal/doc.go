// Package internal holds the rooms of the service. It has no code of its own: this page lists the rooms in reading order, storey
// by storey, and house_test.go holds the storeys as data and checks that nothing is imported upward. A room may import any
// lower storey, and what stands left of it in its own.
//
// A question goes through them in this order: validate (wire), facts, findings (rules), decision (verdict), record, reply.
//
// # numbers
//
//   - unit: angles and lengths as types
//   - frame: vectors and rotations, typed by coordinate frame
//   - solid: convex shapes, distances as [lower, upper]
//   - mesh: triangle meshes, each piece in a hull that holds it
//   - timescale: UTC, TAI, TT, UT1
//   - sky: places of stars and Sun, horizon, refraction
//
// # rig
//
//   - rig: a validated rig: pose to solids, sky to axis angles and back, predicted ends
//   - reach: what is clear along a motion, proven
//   - inspect: what a person should look at again in a rig file, as only the map shows
//   - gauge: a described rig held against the rig itself
//   - pointing: where the tube truly looks at a pose, as solves tell
//
// # asked
//
//   - question: the nouns: what is asked, known, granted
//   - pose: where the axes are, by evidence
//   - facts: what is computed of a question
//
// # judged
//
//   - verdict: findings into one decision
//   - limits: layers, safe direction, bounds, expiry
//   - rules: the Rego rules over the facts
//
// # kept
//
//   - store: bytes in, durable, in order
//   - record: the hash chain over them
//   - state: what the record amounts to
//
// # done
//
//   - decide: one question after the other, from snapshot to answer
//   - rehearse: the same at stated future instants
//   - practice: the simulated rig
//   - season: whole practice nights, and the score of a gate
//   - draw: what was worked out, in words and pictures
//   - survey: how far axes may turn, worked out when asked
//
// # edge
//
//   - wire: protobuf to domain and back, and what is refused
//   - rpc: gRPC
//
// # tests only
//
//   - nights: scripted nights
//   - faults: stores that fail, clocks that jump, a disk in memory
//   - slow: a second opinion on whole answers, sharing no code
//   - sim: whole nights from one seed
package internal
