package server

import (
	"context"
	"math"
	"slices"
	"time"

	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/proposal"
)

// mendings is how often a plan that asks too much of one phase of compost is planned
// again; what is too much after that is left out.
const mendings = 4

// search looks for the best plan of a problem that the published slots of every
// phase can serve, for a time. better, where not nil, is told of every better such
// plan and of the bound; its error ends the search. The bound is that of the
// problem as given, which holds for a mended plan too.
func (s *Server) search(ctx context.Context, problem *proposal.Problem, limit time.Duration, better func(fillplan.Plan, int64) error) (fillplan.Result, error) {
	first := limit
	if problem.ManyPhases() {
		first = limit * 7 / 10
	}
	result, err := s.searchEven(ctx, problem, first, better)
	if err != nil {
		return fillplan.Result{}, err
	}
	bound := result.BoundM
	mended := problem
	for range mendings {
		over, err := mended.TooMuch(result.Plan)
		if err != nil {
			return fillplan.Result{}, err
		}
		if len(over) == 0 {
			break
		}
		mended = mended.Without(over)
		if result, err = s.searchEven(ctx, mended, (limit-first)/mendings, better); err != nil {
			return fillplan.Result{}, err
		}
	}
	over, err := mended.TooMuch(result.Plan)
	if err != nil {
		return fillplan.Result{}, err
	}
	result.Plan.Fills = slices.DeleteFunc(slices.Clone(result.Plan.Fills), func(f fillplan.Fill) bool { return slices.Contains(over, f) })
	result.Plan, result.BoundM = mended.Trim(result.Plan), bound
	return result, nil
}

// evenings is how often a plan is made more even where that is wished for.
const evenings = 3

// searchEven searches one problem for a time. Where evenness is wished for, it first
// plans without, which proves the bound, and then again and again with the prices
// that the last plan's unevenness makes; the plan that costs least with its
// unevenness is taken.
func (s *Server) searchEven(ctx context.Context, problem *proposal.Problem, limit time.Duration, better func(fillplan.Plan, int64) error) (fillplan.Result, error) {
	if !problem.Even() {
		return s.searchOnce(ctx, problem, limit, better)
	}
	cost := func(fills []fillplan.Fill) int64 {
		return fillplan.Evaluate(problem.Instance, fills).M() + problem.Wishes.WishM(fills) + problem.UnevenM(fills)
	}
	least, bound := int64(math.MaxInt64), int64(math.MinInt64)
	var told func(fillplan.Plan, int64) error
	if better != nil {
		told = func(plan fillplan.Plan, proven int64) error {
			if m := cost(plan.Fills); m < least {
				least = m
				return better(plan, max(bound, min(proven, m)))
			}
			return nil
		}
	}
	best, err := s.searchOnce(ctx, problem, limit*4/10, told)
	if err != nil {
		return fillplan.Result{}, err
	}
	bound = best.BoundM
	least = min(least, cost(best.Plan.Fills))
	if told != nil {
		evenTold := told
		told = func(plan fillplan.Plan, _ int64) error { return evenTold(plan, bound) }
	}
	lowest, last, priced := cost(best.Plan.Fills), best.Plan.Fills, problem
	for range evenings {
		priced = priced.Evener(last)
		result, err := s.searchOnce(ctx, priced, limit*2/10, told)
		if err != nil {
			return fillplan.Result{}, err
		}
		last = result.Plan.Fills
		if m := cost(last); m < lowest {
			lowest, best = m, result
		}
	}
	best.BoundM = bound
	return best, nil
}

// searchOnce searches one problem for a time.
func (s *Server) searchOnce(ctx context.Context, problem *proposal.Problem, limit time.Duration, better func(fillplan.Plan, int64) error) (fillplan.Result, error) {
	timed, stop := context.WithTimeout(ctx, limit)
	defer stop()
	options := fillplan.Options{Steps: s.planSteps, Seed: 1, Wishes: problem.Wishes}
	var broken error
	if better != nil {
		options.Improved = func(plan fillplan.Plan, _, bound int64) {
			over, err := problem.TooMuch(plan)
			if err == nil && broken == nil && len(over) == 0 {
				err = better(problem.Trim(plan), bound)
			}
			if err != nil && broken == nil {
				broken = err
				stop()
			}
		}
	}
	result, err := fillplan.Solve(timed, problem.Instance, options)
	switch {
	case broken != nil:
		return fillplan.Result{}, broken
	case ctx.Err() != nil:
		return fillplan.Result{}, ctx.Err()
	case err != nil:
		return fillplan.Result{}, planFault(err)
	}
	return result, nil
}
