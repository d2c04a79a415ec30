// Package endcrop owns the advice on when to end a crop: bear another break, or
// clear the room for a fresh cycle. It advises with figures; a person decides.
//
// # The rule
//
// A room earns most in the long run when a crop is ended as soon as the value
// per room-day that it still offers falls below the best average value per
// room-day of whole cycles, changeover included: the marginal value theorem
// (Charnov 1976, Theoretical Population Biology 9:129–136), which for costs is
// the rule of replacement age in operations research. With net value V_i and
// length D_i of break i of a fresh cycle, changeover cost S and changeover days
// D_0 (from filling to the first pick, cook-out, idle days),
//
//	g = max over n of (V_1 + … + V_n − S)/(D_0 + D_1 + … + D_n)
//
// is the long-run value of a room-day. The present crop is kept through the n
// breaks that make
//
//	(net value of the next n breaks) − g × (room-days they take beyond those in
//	which the room could not be refilled anyway)
//
// greatest; n = 0 means clear it. Equal figures go to the earlier end.
//
// The net value of a break is grams × (price − picking − handling), less the
// running cost of the room, less what an incident in the room is expected to
// spread meanwhile: a loss of L today that grows by q per day costs
// L((1 + q)^D − 1) more after D days.
//
// Money is whole minor units of one currency, rounded half away from zero once
// per break. Rates are kept as net value over days and compared exactly.
package endcrop
