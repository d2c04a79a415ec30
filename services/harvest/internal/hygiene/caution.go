package hygiene

// Caution is a warning shown wherever its topic is met.
type Caution struct{ Topic, Text string }

// Topics of Cautions.
const (
	CarbonDioxide = "carbon dioxide"
	Spores        = "spores"
	Lifting       = "lifting"
	Pesticides    = "pesticides"
	Steam         = "steam"
)

// Cautions returns the warnings for work in rooms, in a fixed order.
func Cautions() []Caution {
	return []Caution{
		{CarbonDioxide, "Growing rooms fill with carbon dioxide when fans stand still. Air a closed room and measure before going in, and do not work there alone. Local workplace limits decide."},
		{Spores, "Open caps and oyster mushrooms shed spores that can harm the lungs. Pick before caps open, air the room, and wear the mask your safety officer names."},
		{Lifting, "Full crates, bags and trays are heavy and floors are wet. Lift with a second person or a trolley, and keep lifting gear inspected as local codes ask."},
		{Pesticides, "The label is the law: its re-entry and pre-harvest intervals decide, even where the figure here is shorter. Only those licensed may apply. When several were used, the longest interval counts."},
		{Steam, "Cook-out uses live steam. Lock the room, post a sign, and let trained people run it; let it cool and air before entry."},
	}
}
