package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Recipe is the newest version of a yard's mix.
type Recipe struct {
	ID, YardID, Name string
	Change
}

// RecipePart is one ingredient of one version. Contents are per cent, as package blend has
// them; Unit is the MassUnit in which the mass was entered.
type RecipePart struct {
	RecipeID                  string
	Version                   int64
	Number                    int32 // from 1
	Name                      string
	Moisture                  float64
	Nitrogen, Carbon, Ash, CN *float64
	PriceMinorPerTonne        int64
	Gypsum                    bool
	Grams                     int64
	Unit                      int16
}

const recipeColumns = `recipe_id, yard_id, name, version, changed_by, changed_at`

const partColumns = `recipe_id, version, number, name, moisture, nitrogen, carbon, ash, cn, price_minor_per_tonne, gypsum, grams, unit`

// LockRecipes returns those of the recipes that exist.
func LockRecipes(ctx context.Context, tx pgx.Tx, recipeIDs []string) (map[string]Recipe, error) {
	return byID(ctx, tx, "lock recipes", func(r Recipe) string { return r.ID },
		`SELECT `+recipeColumns+` FROM recipe WHERE recipe_id = ANY($1) ORDER BY recipe_id FOR UPDATE`, recipeIDs)
}

// Recipes returns those of the recipes that exist.
func Recipes(ctx context.Context, db pg.DB, recipeIDs []string) (map[string]Recipe, error) {
	return byID(ctx, db, "read recipes", func(r Recipe) string { return r.ID },
		`SELECT `+recipeColumns+` FROM recipe WHERE recipe_id = ANY($1)`, recipeIDs)
}

// ListRecipes returns the recipes of one yard or (empty) all, by id.
func ListRecipes(ctx context.Context, db pg.DB, yardID string) ([]Recipe, error) {
	return collect[Recipe](ctx, db, "list recipes",
		`SELECT `+recipeColumns+` FROM recipe WHERE $1 = '' OR yard_id = $1 ORDER BY recipe_id`, yardID)
}

// RecipeParts returns the ingredients of the versions given, by recipe and number.
func RecipeParts(ctx context.Context, db pg.DB, recipes []Recipe) ([]RecipePart, error) {
	ids, versions := make([]string, len(recipes)), make([]int64, len(recipes))
	for i, r := range recipes {
		ids[i], versions[i] = r.ID, r.Version
	}
	const sql = `SELECT ` + partColumns + ` FROM recipe_part
		JOIN unnest($1::text[], $2::bigint[]) AS wanted (recipe_id, version) USING (recipe_id, version)
		ORDER BY recipe_id, number`
	return collect[RecipePart](ctx, db, "read ingredients", sql, ids, versions)
}

// SaveRecipe writes a recipe's newest version.
func SaveRecipe(ctx context.Context, tx pgx.Tx, r Recipe, parts []RecipePart) error {
	const sql = `INSERT INTO recipe (` + recipeColumns + `) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (coop_id, recipe_id) DO UPDATE SET yard_id = excluded.yard_id, name = excluded.name,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at`
	err := each(ctx, tx, "save recipe", sql, []Recipe{r}, func(r Recipe) []any {
		return []any{r.ID, r.YardID, r.Name, r.Version, r.By, r.At}
	})
	if err != nil {
		return err
	}
	const part = `INSERT INTO recipe_part (` + partColumns + `) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`
	return each(ctx, tx, "save ingredients", part, parts, func(p RecipePart) []any {
		return []any{p.RecipeID, p.Version, p.Number, p.Name, p.Moisture, p.Nitrogen, p.Carbon, p.Ash, p.CN,
			p.PriceMinorPerTonne, p.Gypsum, p.Grams, p.Unit}
	})
}
