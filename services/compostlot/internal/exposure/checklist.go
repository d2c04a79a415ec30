package exposure

// Place is where somebody wants to go in.
type Place uint8

const (
	Bunker Place = iota // phase I bunker, pit or goody-water tank
	Tunnel              // phase II or III tunnel
)

// Deference is to be shown wherever gas readings or the checklist are.
const Deference = "Local codes and licensed practice decide; this page clears nobody to enter."

// EntryChecklist is what to settle before anybody enters, in order. It is our
// wording of common practice and stands below whatever the local code asks.
func EntryChecklist(p Place) []string {
	out := []string{
		"Is entry needed at all? What can be done from outside is done from outside.",
		"Under the local code, is this a confined space that needs a permit? If so, no entry without the permit.",
		"Fans, conveyors, fillers, pumps and steam are off, locked, and tagged by the person who goes in.",
		"The space has been aired; airing goes on while anybody is inside.",
		"A checked meter has read oxygen first, then flammable gas, then ammonia, hydrogen sulphide and carbon dioxide: at the top, in the middle and at the floor.",
		"Oxygen is from 19.5 to 23.5 %, and no gas is at a limit. The meter goes in with the person and stays on.",
		"A second person stays outside, sees or hears the one inside, and has no other task.",
		"The way to call help is known and tried. Nobody goes in after a person who is down without breathing apparatus and training.",
	}
	switch p {
	case Bunker:
		return append(out,
			"The heap has been broken or its face is safe; nobody stands under an overhang.",
			"Still water and slurry are not stirred while anybody is near: stirring sets hydrogen sulphide free all at once.")
	default:
		return append(out,
			"Steam is off and the compost and floor are cool enough to touch.",
			"Doors are fixed open and cannot fall shut or be shut from outside.",
			"At spawning and emptying, a mask against spores is worn and fits.")
	}
}
