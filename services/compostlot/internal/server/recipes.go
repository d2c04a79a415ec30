package server

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/blend"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

// SaveRecipe implements CompostLotService.
func (s *Server) SaveRecipe(ctx context.Context, req *compostlotv1.SaveRecipeRequest) (*compostlotv1.Recipe, error) {
	return once(ctx, s, req, &compostlotv1.Recipe{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Recipe, error) {
		return s.saveRecipe(ctx, tx, req.GetRecipe())
	})
}

func (s *Server) saveRecipe(ctx context.Context, tx pgx.Tx, m *compostlotv1.Recipe) (*compostlotv1.Recipe, error) {
	if err := ownYard(ctx, "recipe.yard_id", m.GetYardId()); err != nil {
		return nil, err
	}
	parts, err := readParts("recipe.parts", m.GetParts())
	if err != nil {
		return nil, err
	}
	if _, err := blend.Of(parts); err != nil {
		return nil, recipeFault(err, "recipe.parts")
	}
	yards, err := store.Yards(ctx, tx, []string{m.GetYardId()})
	if err != nil {
		return nil, err
	}
	if _, ok := yards[m.GetYardId()]; !ok {
		return nil, fault.InvalidField("recipe.yard_id", "there is no yard %q: save it first, or correct the id", m.GetYardId())
	}
	known, err := store.LockRecipes(ctx, tx, []string{m.GetRecipeId()})
	if err != nil {
		return nil, err
	}
	old, exists := known[m.GetRecipeId()]
	row := store.Recipe{ID: m.GetRecipeId(), YardID: m.GetYardId(), Name: m.GetName(), Change: old.Next(actor(ctx), s.now())}
	rows := recipeRows(row, parts, m.GetParts())
	if exists {
		if err := ownYard(ctx, "recipe.recipe_id", old.YardID); err != nil {
			return nil, err
		}
		before, err := store.RecipeParts(ctx, tx, []store.Recipe{old})
		if err != nil {
			return nil, err
		}
		if m.GetEtag() == "" && sameRecipe(old, before, row, rows) {
			return recipeMessage(old, before)
		}
		if m.GetEtag() != saving.Etag(old.Version) {
			return nil, changed("recipe.", "recipe "+row.ID, old.Change)
		}
	} else if m.GetEtag() != "" {
		return nil, missing(ReasonUnknownRecipe, "recipe.etag", "there is no recipe %q: leave the etag empty to create it", row.ID)
	}
	if err := store.SaveRecipe(ctx, tx, row, rows); err != nil {
		return nil, err
	}
	return recipeMessage(row, rows)
}

func recipeRows(r store.Recipe, parts []blend.Part, in []*compostlotv1.RecipePart) []store.RecipePart {
	out := make([]store.RecipePart, len(parts))
	for i, p := range parts {
		g := p.Ingredient
		out[i] = store.RecipePart{
			RecipeID: r.ID, Version: r.Version, Number: int32(i + 1), Name: g.Name, Moisture: g.Moisture,
			Nitrogen: g.Nitrogen, Carbon: g.Carbon, Ash: g.Ash, CN: g.CN, PriceMinorPerTonne: g.PriceCents, Gypsum: g.Gypsum,
			Grams: p.Grams, Unit: int16(in[i].GetMass().GetUnit()),
		}
	}
	return out
}

func sameRecipe(a store.Recipe, as []store.RecipePart, b store.Recipe, bs []store.RecipePart) bool {
	return a.YardID == b.YardID && a.Name == b.Name && slices.EqualFunc(as, bs, func(x, y store.RecipePart) bool {
		return x.Name == y.Name && x.Moisture == y.Moisture && sameContent(x.Nitrogen, y.Nitrogen) && sameContent(x.Carbon, y.Carbon) &&
			sameContent(x.Ash, y.Ash) && sameContent(x.CN, y.CN) && x.PriceMinorPerTonne == y.PriceMinorPerTonne &&
			x.Gypsum == y.Gypsum && x.Grams == y.Grams && x.Unit == y.Unit
	})
}

func sameContent(a, b *float64) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }

// recipeMessage is a recipe with what its mix holds.
func recipeMessage(r store.Recipe, rows []store.RecipePart) (*compostlotv1.Recipe, error) {
	parts := convert(rows, func(p store.RecipePart) blend.Part {
		return blend.Part{Grams: p.Grams, Ingredient: blend.Ingredient{
			Name: p.Name, Moisture: p.Moisture, Nitrogen: p.Nitrogen, Carbon: p.Carbon, Ash: p.Ash, CN: p.CN,
			PriceCents: p.PriceMinorPerTonne, Gypsum: p.Gypsum,
		}}
	})
	mix, err := blend.Of(parts)
	if err != nil {
		return nil, recipeFault(err, "recipe.parts")
	}
	out := &compostlotv1.Recipe{
		RecipeId: r.ID, YardId: r.YardID, Name: r.Name, Version: r.Version, Etag: saving.Etag(r.Version),
		ChangedBy: r.By, ChangedAt: optional(&r.At),
	}
	if out.Parts, err = partMessages(parts, func(i int) compostlotv1.MassUnit { return compostlotv1.MassUnit(rows[i].Unit) }); err != nil {
		return nil, err
	}
	out.Mix, err = mixMessage(mix, heaviestUnit(rows))
	return out, err
}

// heaviestUnit is the unit in which the heaviest part was entered: that of the mix.
func heaviestUnit(rows []store.RecipePart) compostlotv1.MassUnit {
	most := slices.MaxFunc(rows, func(a, b store.RecipePart) int { return cmp.Compare(a.Grams, b.Grams) })
	return compostlotv1.MassUnit(most.Unit)
}

// ListRecipes implements CompostLotService.
func (s *Server) ListRecipes(ctx context.Context, req *compostlotv1.ListRecipesRequest) (*compostlotv1.ListRecipesResponse, error) {
	resp := &compostlotv1.ListRecipesResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		recipes, err := store.ListRecipes(ctx, tx, req.GetYardId())
		if err != nil {
			return err
		}
		parts, err := store.RecipeParts(ctx, tx, recipes)
		if err != nil {
			return err
		}
		for _, r := range recipes {
			n := 0
			for n < len(parts) && parts[n].RecipeID == r.ID {
				n++
			}
			m, err := recipeMessage(r, parts[:n])
			if err != nil {
				return err
			}
			resp.Recipes, parts = append(resp.Recipes, m), parts[n:]
		}
		return nil
	})
}
