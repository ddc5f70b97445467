package main

// leaveGiven says what an allow leaves behind.
const leaveGiven = `An allow opens a permit: until it ends the rig counts as under way, and the
next sample at rest that shows a motion closes it. To try a question without
giving leave, use rehearse. "keepclear withdraw RIG" ends a permit.`

// sampleAsJSON shows a sample as it is given to ask --sample.
const sampleAsJSON = `A sample, as --sample reads it; each part may be absent, at a price:

  {
    "time": "2026-11-14T21:30:00Z",
    "motion": "MOTION_TRACKING",
    "belief": {
      "sky": {"raDeg": 38.2, "decDeg": 61.45, "frame": "SKY_FRAME_ICRS"},
      "side": "TUBE_SIDE_WEST"
    },
    "readings": [{
      "source": "POSE_SOURCE_MOTOR_COUNT",
      "axes": {"axis1Deg": 61.3, "axis2Deg": -28.5}
    }],
    "mountLstDeg": 23.9,
    "mountSite": {"latDeg": 46.2, "lonDeg": 11.1},
    "runMark": "boot 17",
    "syncCount": 2
  }`

// solveAsJSON shows a solve as it is given to ask sync --solve.
const solveAsJSON = `A solve, as --solve reads it; what is absent of it is a hold where a rule
needs it:

  {
    "sky": {"raDeg": 38.21, "decDeg": 61.44, "frame": "SKY_FRAME_ICRS"},
    "exposureStartTime": "2026-11-14T21:29:50Z",
    "exposureDuration": "8s",
    "pixelArcsec": 1.56, "fieldWidthDeg": 1.8, "fieldHeightDeg": 1.2,
    "rotationDeg": 12.5, "mirrored": false,
    "matchedCount": 86, "residualArcsec": 0.8, "searchRadiusDeg": 180,
    "pictureId": "heron-0042"
  }`

// stepsAsJSON shows a plan as it is given to rehearse plan --steps.
const stepsAsJSON = `A plan, as --steps reads it. A step without a time starts when the one before
ends; one that would not pass ends all the same where it was to end:

  {
    "steps": [
      {
        "startTime": "2026-11-14T18:40:00Z",
        "action": {"slew": {
          "sky": {"raDeg": 38.2, "decDeg": 61.45, "frame": "SKY_FRAME_ICRS"},
          "trackDuration": "5400s"
        }}
      },
      {"action": {"slew": {
        "sky": {"raDeg": 83.6, "decDeg": 22, "frame": "SKY_FRAME_ICRS"},
        "trackDuration": "3600s"
      }}},
      {"startTime": "2026-11-15T05:30:00Z", "action": {"home": {}}}
    ]
  }`
