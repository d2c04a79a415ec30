// Package exposure owns gas readings against published exposure limits, and
// the checklist before somebody enters a bunker or a tunnel.
//
// It warns; it never clears anybody to enter. Limits differ between
// countries and change: local codes and licensed practice decide. Values are
// whole thousandths: of a ppm by volume for ammonia, hydrogen sulphide and
// carbon dioxide, of a % by volume for oxygen.
package exposure
