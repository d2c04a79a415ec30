package server

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/release"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

// rulesPhase is the phase under which rules are kept: phases two and three share theirs.
func rulesPhase(phase int16) int16 { return min(phase, 2) }

// rulesAt are the rules in force for lots of a phase at an instant.
func rulesAt(ctx context.Context, tx pgx.Tx, phase int16, at time.Time) (release.Rules, store.ReleaseRules, error) {
	row, rows, own, err := store.RulesAt(ctx, tx, rulesPhase(phase), at)
	if err != nil {
		return release.Rules{}, row, err
	}
	var rules release.Rules
	if own {
		rules, err = release.Choose(int(phase), convert(rows, choiceOf))
	} else {
		rules, err = release.ForPhase(int(phase))
	}
	if err != nil {
		return rules, row, fmt.Errorf("release rules of phase %d: %w", phase, err)
	}
	return rules, row, nil
}

func choiceOf(c store.ReleaseCriterion) release.Choice {
	out := release.Choice{Key: c.ID, Low: c.Low, High: c.High, Seconds: c.Seconds, Source: c.Source}
	if c.MinProbes != nil {
		out.MinProbes = int(*c.MinProbes)
	}
	return out
}

// GetReleaseRules implements CompostLotService.
func (s *Server) GetReleaseRules(ctx context.Context, req *compostlotv1.GetReleaseRulesRequest) (*compostlotv1.GetReleaseRulesResponse, error) {
	catalogue, err := release.CatalogueFor(int(req.GetPhase()))
	if err != nil {
		return nil, fmt.Errorf("catalogue: %w", err)
	}
	resp := &compostlotv1.GetReleaseRulesResponse{Catalogue: convert(catalogue, ruleMessage)}
	return resp, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		rules, row, err := rulesAt(ctx, tx, int16(req.GetPhase()), s.now())
		resp.Rules = rulesMessage(req.GetPhase(), rules, row)
		return err
	})
}

// SaveReleaseRules implements CompostLotService.
func (s *Server) SaveReleaseRules(ctx context.Context, req *compostlotv1.SaveReleaseRulesRequest) (*compostlotv1.ReleaseRules, error) {
	return once(ctx, s, req, &compostlotv1.ReleaseRules{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.ReleaseRules, error) {
		m, now := req.GetRules(), s.now()
		_, old, err := rulesAt(ctx, tx, int16(m.GetPhase()), now)
		if err != nil {
			return nil, err
		}
		known := rulesMessage(m.GetPhase(), release.Rules{}, old).GetEtag()
		switch {
		case m.GetEtag() != known && old.Version == 0:
			return nil, fault.InvalidField("rules.etag", "the rules were never saved: leave the etag empty")
		case m.GetEtag() != known:
			return nil, changed("rules.", "the release rules", old.Change)
		}
		row := store.ReleaseRules{Phase: rulesPhase(int16(m.GetPhase())), Change: old.Next(actor(ctx), now)}
		rows := criterionRows(row, m.GetCriteria())
		rules, err := release.Choose(int(m.GetPhase()), convert(rows, choiceOf))
		if err != nil {
			return nil, ruleFault(err, m.GetCriteria())
		}
		return rulesMessage(m.GetPhase(), rules, row), store.AddRules(ctx, tx, row, rows)
	})
}

// criterionRows keeps the figures that are sent and differ from the catalogue's.
func criterionRows(row store.ReleaseRules, in []*compostlotv1.ReleaseCriterion) []store.ReleaseCriterion {
	known := map[string]release.Criterion{}
	catalogue, err := release.CatalogueFor(int(row.Phase))
	if err == nil { // an unknown phase is told by Choose
		for _, c := range catalogue {
			known[c.Key] = c
		}
	}
	differs := func(sent, own *int64) *int64 {
		if sent != nil && own != nil && *sent == *own {
			return nil
		}
		return sent
	}
	out := make([]store.ReleaseCriterion, len(in))
	for i, m := range in {
		c := known[m.GetCriterionId()]
		out[i] = store.ReleaseCriterion{
			Phase: row.Phase, Version: row.Version, Number: int32(i + 1), ID: m.GetCriterionId(),
			Low: differs(m.LowThousandths, c.Low), High: differs(m.HighThousandths, c.High), Seconds: differs(m.Seconds, &c.Seconds),
		}
		if n := m.GetMinProbes(); n != 0 && int(n) != c.MinProbes {
			out[i].MinProbes = &n
		}
		if out[i].Low != nil || out[i].High != nil || out[i].Seconds != nil || out[i].MinProbes != nil {
			out[i].Source = m.GetSource()
		}
	}
	return out
}

// figurePaths are the fields of a criterion's figures.
var figurePaths = map[release.Figure]string{release.FigureLow: ".low_thousandths", release.FigureSeconds: ".seconds", release.FigureSource: ".source"}

// ruleFault names the criterion that is wrong, and the field where it is one.
func ruleFault(err error, in []*compostlotv1.ReleaseCriterion) error {
	var rule *release.RuleError
	if !errors.As(err, &rule) {
		return err
	}
	path := "rules.criteria"
	if i := slices.IndexFunc(in, func(m *compostlotv1.ReleaseCriterion) bool { return m.GetCriterionId() == rule.Key }); i >= 0 {
		path = fmt.Sprintf("rules.criteria[%d]%s", i, figurePaths[rule.Figure])
	}
	return fault.InvalidField(path, "%v", rule)
}

func ruleMessage(c release.Criterion) *compostlotv1.ReleaseCriterion {
	out := &compostlotv1.ReleaseCriterion{
		CriterionId: c.Key, Subject: c.Subject, Requirement: c.Requirement(), LowThousandths: c.Low, HighThousandths: c.High,
		MinProbes: int32(c.MinProbes), Source: c.Source.Text, Note: c.Note, Kinds: convert(c.Quantities, kindOf),
		Own: c.Source.Standing == release.CoopsOwn, Unbroken: c.Test == release.HoldsUnbroken,
	}
	if !out.GetOwn() { // what the co-op states is sent as it was said, so that it can be sent back
		out.Source += " (" + string(c.Source.Standing) + ")"
	}
	if c.Seconds > 0 {
		out.Seconds = &c.Seconds
	}
	return out
}

func rulesMessage(phase typev1.CompostPhase, rules release.Rules, row store.ReleaseRules) *compostlotv1.ReleaseRules {
	out := &compostlotv1.ReleaseRules{Phase: phase, Criteria: convert(rules.Criteria, ruleMessage), ChangedBy: row.By, ChangedAt: optional(&row.At)}
	if row.Version > 0 {
		out.Etag = saving.Etag(row.Version)
	}
	return out
}
