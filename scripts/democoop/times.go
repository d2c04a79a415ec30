package main

import (
	"slices"
	"strconv"
	"strings"
)

// shared are the columns of ids that every part of a larger co-op has in common; probe ids are
// of one lot each.
var shared = map[string]bool{"coop_id": true, "product_id": true, "instead_product_id": true, "programme_id": true, "probe_id": true}

// grow makes the files those of a co-op so many times as large: each farm, room, yard, kitchen,
// crop, lot, order and pick comes again for each part, under ids of its own. All parts sell the
// same products.
func grow(files map[string]*file, times int) {
	for _, f := range files {
		if !ofOneOwner(f.rows[0]) {
			continue
		}
		rows := f.rows[1:]
		for part := 2; part <= times; part++ {
			for _, row := range rows {
				f.rows = append(f.rows, again(f.rows[0], row, part))
			}
		}
	}
}

// ofOneOwner tells files whose rows belong to a farm, a kitchen, a yard or something of theirs.
// Of the others, such as products and settings, a co-op of any size has the same.
func ofOneOwner(header []string) bool {
	return slices.ContainsFunc(header, func(column string) bool { return strings.HasSuffix(column, "_id") && !shared[column] })
}

// again is a row of another part.
func again(header, row []string, part int) []string {
	number := strconv.Itoa(part)
	fresh := make([]string, len(row))
	for i, value := range row {
		switch column := header[i]; {
		case value == "" || shared[column]:
		case strings.HasSuffix(column, "_id"):
			value += "-" + number
		case column == "name":
			value += " " + number
		}
		fresh[i] = value
	}
	return fresh
}
