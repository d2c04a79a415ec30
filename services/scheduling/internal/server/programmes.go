package server

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// SaveProgramme makes a new version of a programme.
func (s *Server) SaveProgramme(ctx context.Context, req *schedulingv1.SaveProgrammeRequest) (*schedulingv1.Programme, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Programme{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Programme, error) {
		return s.saveProgramme(ctx, tx, req.GetProgramme())
	})
}

// ListProgrammes returns the newest version of each programme, by id.
func (s *Server) ListProgrammes(ctx context.Context, _ *schedulingv1.ListProgrammesRequest) (*schedulingv1.ListProgrammesResponse, error) {
	answer := &schedulingv1.ListProgrammesResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		newest, err := s.newestProgrammes(ctx, tx)
		answer.Programmes = nil
		for _, id := range slices.Sorted(maps.Keys(newest)) {
			answer.Programmes = append(answer.Programmes, programmeMessage(newest[id].Programme, newest[id].Origin == store.BuiltIn))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// newestProgrammes is what the co-op grows by today, by id: its own programmes at
// their newest version, and the built-in ones that no own one hides.
func (s *Server) newestProgrammes(ctx context.Context, db pg.DB) (map[string]store.ProgrammeVersion, error) {
	own, err := store.ListOwnProgrammes(ctx, db)
	if err != nil {
		return nil, err
	}
	newest := make(map[string]store.ProgrammeVersion, len(own)+len(s.builtins))
	for id, p := range s.builtins {
		newest[id] = store.ProgrammeVersion{
			Programme: p, Origin: store.BuiltIn,
			Change: store.Change{Version: int64(p.Version), By: "the suite"},
		}
	}
	for _, p := range own {
		newest[p.ID] = p
	}
	return newest, nil
}

func (s *Server) saveProgramme(ctx context.Context, tx pgx.Tx, in *schedulingv1.Programme) (*schedulingv1.Programme, error) {
	newest, err := s.newestProgrammes(ctx, tx)
	if err != nil {
		return nil, err
	}
	old, found := newest[in.GetProgrammeId()]
	version := int32(1)
	if found {
		version = old.Programme.Version
	}
	p, err := programmeFrom(in, version, "programme")
	if err != nil {
		return nil, err
	}
	equal, err := sameProgramme(p, old.Programme)
	if err != nil {
		return nil, err
	}
	save := saving.Save{Thing: fmt.Sprintf("programme %q", p.ID), Path: "programme", Etag: in.GetEtag(), Found: found, Equal: equal, Last: old.Change}
	write, err := save.Decide()
	if err != nil {
		return nil, err
	}
	if !write {
		return programmeMessage(old.Programme, old.Origin == store.BuiltIn), nil
	}
	// A version means one text for ever, so the next one lies above all that
	// were ever stored under the id, built-in ones that crops stand on included.
	last, err := store.LastProgrammeVersion(ctx, tx, p.ID)
	if err != nil {
		return nil, err
	}
	if found {
		last = max(last, version)
	}
	p.Version = last + 1
	ok, err := store.AddProgramme(ctx, tx, identity.Must(ctx).CoopID, store.ProgrammeVersion{
		Programme: p, Origin: store.Own, Change: s.change(ctx, int64(p.Version)),
	})
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, saving.Raced(save.Thing)
	}
	return programmeMessage(p, false), nil
}

// sameProgramme compares two programmes at one version by their text.
func sameProgramme(a, b *programme.Programme) (bool, error) {
	if b == nil {
		return false, nil
	}
	textA, err := a.Encode()
	if err != nil {
		return false, err
	}
	textB, err := b.Encode()
	if err != nil {
		return false, err
	}
	return string(textA) == string(textB), nil
}

// pin keeps the text of a built-in programme that a crop of the co-op comes to
// stand on, and returns the text that the version has for this co-op: the one kept
// first.
func (s *Server) pin(ctx context.Context, tx pgx.Tx, p store.ProgrammeVersion) (*programme.Programme, error) {
	if p.Origin == store.Own {
		return p.Programme, nil
	}
	p.Change = s.change(ctx, int64(p.Programme.Version))
	kept, err := store.AddProgramme(ctx, tx, identity.Must(ctx).CoopID, p)
	if err != nil || kept {
		return p.Programme, err
	}
	key := store.ProgrammeKey{ID: p.ID, Version: p.Programme.Version}
	found, err := store.GetProgrammes(ctx, tx, []store.ProgrammeKey{key})
	if err != nil {
		return nil, err
	}
	return found[key], nil
}
