// Package importer owns the way of a co-op's files into the running suite: it reads what the
// suite has already, sends what is new or otherwise in the order in which things need each
// other, and turns what a service refuses back into file, line and column.
//
// Importing the same files again changes nothing. A request id is the hash of what is sent,
// so that an import that was cut short, even between a commit and its answer, can be run
// again. Each file goes in one call that takes all of it or nothing; only orders
// that were placed already are changed one by one.
package importer
