package programme

import "slices"

// System is how a crop is grown, which decides where it stands when.
type System string

// The growing systems.
const (
	// Trays move from room to room, one room for each step.
	Trays System = "trays"
	// Shelves keep the crop in one room from filling to the end; phase II runs
	// in that room.
	Shelves System = "shelves"
	// BulkPhaseII takes compost that was pasteurised and conditioned in a
	// tunnel; the room is occupied only from filling.
	BulkPhaseII System = "bulk phase II"
	// BulkPhaseIII takes compost that was also spawn-run in the tunnel.
	BulkPhaseIII System = "bulk phase III"
	// BagsOrBlocks holds substrate in bags or as blocks; no casing is needed.
	BagsOrBlocks System = "bags or blocks"
)

// Systems lists every growing system in the order of the constants.
func Systems() []System {
	return []System{Trays, Shelves, BulkPhaseII, BulkPhaseIII, BagsOrBlocks}
}

// CompostPhase is the phase of the compost that is delivered for filling: 1, 2
// or 3, and 0 where the substrate is not phased compost.
func (s System) CompostPhase() int {
	switch s {
	case Trays, Shelves:
		return 1
	case BulkPhaseII:
		return 2
	case BulkPhaseIII:
		return 3
	}
	return 0
}

// StageKind names a stage of a crop.
type StageKind string

// The stages. Filling, Spawning and Casing are a day's work and as a rule last
// no day of their own: the day belongs to the stage that follows.
const (
	PhaseI   StageKind = "phase I"   // composting in the open or in bunkers, at the yard
	PhaseII  StageKind = "phase II"  // pasteurising and conditioning
	Filling  StageKind = "filling"   // compost or substrate comes in: day 0
	Spawning StageKind = "spawning"  // spawn is mixed in
	SpawnRun StageKind = "spawn run" // mycelium grows through
	Casing   StageKind = "casing"    // the casing layer goes on
	CaseRun  StageKind = "case run"  // mycelium grows into the casing
	Pinning  StageKind = "pinning"   // airing or cold shock until the first pick
	Cropping StageKind = "cropping"  // first pick to last pick
	CookOut  StageKind = "cook-out"  // steaming the spent crop, emptying, cleaning
	Idle     StageKind = "idle"      // the room waits for the next fill
)

// Place is the kind of place in which a stage happens.
type Place string

// The places. A yard is not reserved by a crop; tunnels and rooms are.
const (
	Yard         Place = "yard"
	Tunnel       Place = "tunnel"
	PhaseIIRoom  Place = "phase II room"
	SpawnRunRoom Place = "spawn-run room"
	GrowingRoom  Place = "growing room"
)

// Reserved reports whether one crop at a time holds the place.
func (p Place) Reserved() bool { return p != Yard }

// sequence is the only order in which the stages of a system make sense. A
// programme may leave out what required does not name.
func (s System) sequence() []StageKind {
	switch s {
	case Trays, Shelves:
		return []StageKind{PhaseI, Filling, PhaseII, Spawning, SpawnRun, Casing, CaseRun, Pinning, Cropping, CookOut, Idle}
	case BulkPhaseII:
		return []StageKind{PhaseI, PhaseII, Filling, Spawning, SpawnRun, Casing, CaseRun, Pinning, Cropping, CookOut, Idle}
	case BulkPhaseIII:
		return []StageKind{PhaseI, PhaseII, Spawning, SpawnRun, Filling, Casing, CaseRun, Pinning, Cropping, CookOut, Idle}
	case BagsOrBlocks:
		return []StageKind{PhaseI, Filling, Spawning, SpawnRun, Pinning, Cropping, CookOut, Idle}
	}
	return nil
}

// required names the stages without which a system's crop cannot be.
func (s System) required() []StageKind {
	switch s {
	case Trays, Shelves, BulkPhaseII, BulkPhaseIII:
		return []StageKind{PhaseII, Filling, Spawning, SpawnRun, Casing, Pinning, Cropping}
	}
	return []StageKind{Filling, Spawning, SpawnRun, Pinning, Cropping}
}

// places lists where a stage may happen under the system. Before filling the
// crop is at the yard or in a tunnel; from filling on it is in a room, and on
// shelves it never leaves the growing room.
func (s System) places(kind StageKind) []Place {
	seq := s.sequence()
	if slices.Index(seq, kind) < slices.Index(seq, Filling) {
		if kind == PhaseI {
			return []Place{Yard}
		}
		return []Place{Tunnel}
	}
	switch s {
	case Trays:
		if slices.Index(seq, kind) <= slices.Index(seq, PhaseII) {
			return []Place{PhaseIIRoom}
		}
		if kind == Spawning || kind == SpawnRun || kind == Casing || kind == CaseRun {
			return []Place{SpawnRunRoom, GrowingRoom}
		}
		return []Place{GrowingRoom}
	case BagsOrBlocks:
		if kind == Filling || kind == Spawning || kind == SpawnRun {
			return []Place{SpawnRunRoom, GrowingRoom}
		}
		return []Place{GrowingRoom}
	}
	return []Place{GrowingRoom}
}
