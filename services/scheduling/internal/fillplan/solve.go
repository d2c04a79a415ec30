package fillplan

import (
	"context"
	"errors"
	"math"
)

// Options steer Solve. The zero value searches until the context ends.
type Options struct {
	// Steps limits the search to about so many replans of a single room; 0 sets no
	// limit. With the same steps, seed, instance and wishes the result is the
	// same, as far as the context does not end it earlier.
	Steps int64
	// Seed starts the random numbers of the search.
	Seed uint64
	// Wishes bend the plan; nil wishes nothing.
	Wishes *Wishes
	// Improved, if set, is told of every better plan or bound, at most once for
	// each piece of work. cost and bound are in millicents and include what
	// the wishes add. It is called on the caller's goroutine.
	Improved func(plan Plan, cost, bound int64)
}

// Result is the best plan found and what is proven about it.
type Result struct {
	// Plan is feasible and in canonical order.
	Plan Plan
	// Cost is what the plan costs by the format, without wishes.
	Cost Cost
	// M is Cost.M(), and WishM what the wishes add to it, in millicents.
	M, WishM int64
	// BoundM is a proven lower bound on M + WishM of every plan that honours the
	// wishes, in millicents; equal to M + WishM when the plan is proven best.
	BoundM int64
	// Steps are the replans made.
	Steps int64
}

// Optimal reports whether no plan can be better.
func (r Result) Optimal() bool { return r.BoundM >= r.M+r.WishM }

// Gap is how far the cost may be above the least possible, as a part of the
// bound: 0 when proven best, infinite while nothing useful is proven.
func (r Result) Gap() float64 {
	switch cost := r.M + r.WishM; {
	case cost <= r.BoundM:
		return 0
	case r.BoundM <= 0:
		return math.Inf(1)
	default:
		return float64(cost-r.BoundM) / float64(r.BoundM)
	}
}

// ErrNoLimit is returned when neither a step budget nor the context would ever
// end the search.
var ErrNoLimit = errors.New("fillplan: give a step budget or a context that ends")

// Solve looks for the cheapest plan and proves how much cheaper a plan could be,
// until the plan is proven best, the steps are used up or the context ends; the
// end of the context is not an error. It works on the caller's goroutine only.
//
// It returns an *InstanceError for an invalid instance, a *WishError or a
// *PlanError for wishes that cannot be met, and ErrNoLimit.
func Solve(ctx context.Context, in *Instance, opts Options) (Result, error) {
	if err := in.Validate(); err != nil {
		return Result{}, err
	}
	if err := opts.Wishes.check(in); err != nil {
		return Result{}, err
	}
	if opts.Steps <= 0 && ctx.Done() == nil {
		return Result{}, ErrNoLimit
	}
	r := newRun(in, opts)
	defer r.bounder.halt()
	r.search.descend()
	r.search.consider()
	for ctx.Err() == nil && !r.finished() {
		r.turn()
	}
	return r.result(), nil
}

// run is one call of Solve: a search and a bounder that take turns.
type run struct {
	in      *Instance
	opts    Options
	problem *problem
	search  *search
	bounder *bounder
	// told are the cost and bound last told to Improved.
	toldCost, toldBound int64
}

func newRun(in *Instance, opts Options) *run {
	r := &run{in: in, opts: opts, problem: newProblem(in, opts.Wishes), toldCost: math.MaxInt64, toldBound: math.MinInt64}
	r.search = newSearch(r.problem, opts.Seed)
	r.bounder = newBounder(r.problem, func() int64 { return r.search.total }, r.offer)
	return r
}

// offer takes the timelines of a plan the bounder met, if it is feasible and
// better.
func (r *run) offer(rooms [][]choice) {
	fills := r.problem.fillsOf(rooms)
	if Check(r.in, Plan{Instance: r.in.Name, Fills: fills}) != nil {
		return
	}
	s := newState(r.problem)
	for room, timeline := range rooms {
		s.lift(room)
		s.place(room, timeline)
	}
	if s.total < r.search.total {
		r.search.total = s.total
		for room, timeline := range s.rooms {
			r.search.best[room] = append(r.search.best[room][:0], timeline...)
		}
	}
}

func (r *run) finished() bool {
	return r.opts.Steps > 0 && r.search.steps >= r.opts.Steps || r.bounder.bound() >= r.search.total
}

// staleShare is how many times as much the bounder works as a search that has found
// nothing better for long.
const staleShare = 4

// turn lets whoever has worked less work on: first a cycle of search, so that
// the bounder has a good cost to beat. Once the search finds nothing better, the
// bounder gets most of the time.
func (r *run) turn() {
	proven := r.bounder.work
	if r.search.stale() {
		proven /= staleShare
	}
	if r.search.cycles == 0 || r.bounder.ended || r.search.work <= proven {
		limit := int64(math.MaxInt64)
		if r.opts.Steps > 0 {
			limit = r.opts.Steps - r.search.steps
		}
		r.search.sweep(limit)
	} else {
		r.bounder.turn()
	}
	r.tell()
}

func (r *run) tell() {
	cost, bound := r.search.total, r.bounder.bound()
	if r.opts.Improved == nil || cost >= r.toldCost && bound <= r.toldBound {
		return
	}
	r.toldCost, r.toldBound = cost, bound
	r.opts.Improved(r.plan(), cost, bound)
}

func (r *run) plan() Plan {
	return Plan{Instance: r.in.Name, Fills: r.problem.fillsOf(r.search.best)}
}

func (r *run) result() Result {
	plan := r.plan()
	cost := Evaluate(r.in, plan.Fills)
	return Result{
		Plan:   plan,
		Cost:   cost,
		M:      cost.M(),
		WishM:  r.opts.Wishes.WishM(plan.Fills),
		BoundM: r.bounder.bound(),
		Steps:  r.search.steps,
	}
}
