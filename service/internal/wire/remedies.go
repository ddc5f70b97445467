package wire

import (
	"google.golang.org/protobuf/reflect/protoreflect"
)

// remedyRequestID is what helps wherever a request id is wrong.
const remedyRequestID = "send a new random UUID, and the same one whenever this request is repeated"

// oneAxis is what helps where the angle of one axis is wrong or not there.
const oneAxis = "send degrees for both axes; of a jog 0 for the one that rests"

// remedies holds what helps for fields of which more can be said than their kind tells, by name; with that of its message for a name that
// means another thing there. Nothing writes it.
var remedies = map[protoreflect.Name]string{
	"request_id":           remedyRequestID,
	"rig":                  "send the rig's id as ListRigs gives it",
	"ra_deg":               "send right ascension in degrees, not hours, reduced to one turn",
	"lon_deg":              "send longitude in degrees east positive, reduced to [-180, 180)",
	"frame":                "say whether the position is ICRS (J2000) or of date: they differ by a third of a degree",
	"track_duration":       "say how long to track afterwards; \"0s\" stops there",
	"Track.track_duration": "say for how long to track, or until when",
	"side":                 "leave the field out where the side is not known",
	"source":               "send encoder or motor counts only; everything else the service works out itself",
	"mount_lst_deg":        "send the mount's sidereal time in degrees, not hours, reduced to one turn",
	"rotation_deg":         "send the angle from north through east, reduced to one turn",
	"exposure_duration":    "send the time for which the shutter was open, or leave the field out",
	"search_radius_deg":    "send 180 for a blind solve, or leave the field out",
	"sky":                  "send the position",
	"solve":                "send what the solver found: where the picture's centre is, when and how long it was exposed, and the solver's figures",
	"AxisPair.axis1_deg":   oneAxis,
	"AxisPair.axis2_deg":   oneAxis,
	"axes":                 "send both axis angles",
	"action":               "say what is asked: a slew, a sync, and so on",
	"permit_id":            "send the id of the permit as Ask gave it",
	"replaces_permit_id":   "send the id of the open permit as Ask or GetRig gave it, or leave the field out",
	"leave_id":             "send the id of the leave as Ask gave it",
	"lock_ids":             "send the ids of the locks as GetRig gives them, each once",
	"person":               "name the person",
	"reason":               "say why in a sentence",
	"rig_sha256":           "send the digest as GetRig gives it",
	"all_rigs":             "send true, or name one rig",
	"key":                  "send a key as the rig's file writes it, with the blocks that hold it, as tape.floor_to_crossing_mm",
	"DrawRigRequest.kind":  "say whether the rig or its map is to be drawn",
	"start_here":           "send true, or leave the field out",
}

// remedy says in one sentence what helps.
func remedy(fd protoreflect.FieldDescriptor) string {
	if r, ok := remedies[fd.Parent().Name()+"."+fd.Name()]; ok {
		return r
	}
	if r, ok := remedies[fd.Name()]; ok {
		return r
	}
	if fd.IsList() {
		return "send fewer at once, each within its bounds"
	}
	switch fd.Kind() {
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		if u := unitOf(fd); u != "" {
			return "check the unit: this field is in " + u
		}
		return "check the figure"
	case protoreflect.StringKind, protoreflect.BytesKind:
		return "send it within these bounds"
	case protoreflect.MessageKind:
		return "send it, with what it requires"
	default:
		return "send one of these"
	}
}
