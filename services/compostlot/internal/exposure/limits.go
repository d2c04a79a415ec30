package exposure

// Gas is what a meter reads.
type Gas string

const (
	Ammonia          Gas = "ammonia"
	HydrogenSulphide Gas = "hydrogen sulphide"
	CarbonDioxide    Gas = "carbon dioxide"
	Oxygen           Gas = "oxygen"
)

// Limit is one published limit.
type Limit struct {
	Gas   Gas
	Name  string
	Milli int64 // thousandths of a ppm, of a % for oxygen
	// Least turns the limit round: below it is wrong (oxygen).
	Least bool
	// Seconds is the time over which the value counts; 0 for a limit that
	// holds at every moment.
	Seconds int64
	// Danger marks limits at which life is in danger at once; reaching such a
	// limit is as bad as passing it.
	Danger bool
	Source string
	Seen   string // how well the source is known
}

const (
	minute = 60
	hour   = 3600

	seen       = "seen"
	seenCopy   = "seen on a secondary page"
	fromMemory = "from memory"
)

// Limits are the published limits known here, in order of gas and value. The
// figure for carbon dioxide in force is 5,000 ppm; many pages repeat limits of
// 1989 that were withdrawn.
func Limits() []Limit {
	const (
		minnesota = "Minnesota Department of Agriculture, ammonia page"
		table3    = "PMC5777517, table 3"
		space     = "29 CFR 1910.146 as summarised by the University of Maryland; WAC 296-155-20301"
	)
	ppm := func(n int64) int64 { return n * 1000 }
	return []Limit{
		// Ten-hour and eight-hour averages both judge a working day.
		{Gas: Ammonia, Name: "NIOSH recommended limit", Milli: ppm(25), Seconds: 8 * hour, Source: minnesota, Seen: seen},
		{Gas: Ammonia, Name: "short-term limit (15 min)", Milli: ppm(35), Seconds: 15 * minute, Source: minnesota, Seen: seen},
		{Gas: Ammonia, Name: "OSHA permissible limit", Milli: ppm(50), Seconds: 8 * hour, Source: "29 CFR 1910.1000, table Z-1", Seen: seenCopy},
		{Gas: Ammonia, Name: "immediately dangerous to life or health", Milli: ppm(300), Danger: true, Source: minnesota, Seen: seen},

		{Gas: HydrogenSulphide, Name: "ACGIH threshold, working day", Milli: ppm(1), Seconds: 8 * hour, Source: table3, Seen: seen},
		{Gas: HydrogenSulphide, Name: "ACGIH threshold, short term (15 min)", Milli: ppm(5), Seconds: 15 * minute, Source: table3, Seen: seen},
		{Gas: HydrogenSulphide, Name: "NIOSH ceiling (10 min)", Milli: ppm(10), Seconds: 10 * minute, Source: table3, Seen: seen},
		{Gas: HydrogenSulphide, Name: "OSHA ceiling", Milli: ppm(20), Source: table3, Seen: seen},
		{Gas: HydrogenSulphide, Name: "OSHA peak (10 min once, without other exposure)", Milli: ppm(50), Source: table3, Seen: seen},
		{Gas: HydrogenSulphide, Name: "immediately dangerous to life or health", Milli: ppm(100), Danger: true, Source: table3, Seen: seen},

		{Gas: CarbonDioxide, Name: "OSHA permissible limit", Milli: ppm(5_000), Seconds: 8 * hour, Source: "29 CFR 1910.1000, table Z-1", Seen: seenCopy},
		{Gas: CarbonDioxide, Name: "NIOSH short-term limit (15 min)", Milli: ppm(30_000), Seconds: 15 * minute, Source: "NIOSH Pocket Guide", Seen: fromMemory},
		{Gas: CarbonDioxide, Name: "immediately dangerous to life or health", Milli: ppm(40_000), Danger: true, Source: "NIOSH", Seen: seenCopy},

		{Gas: Oxygen, Name: "least oxygen of a confined space", Milli: 19_500, Least: true, Source: space, Seen: seen},
		{Gas: Oxygen, Name: "most oxygen of a confined space", Milli: 23_500, Source: space, Seen: seen},
	}
}
