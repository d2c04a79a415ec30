// Package coopfiles owns the files in which a co-op brings its own data: a folder of CSV
// files (RFC 4180, UTF-8), one for each kind of thing. Tables describes every file and
// column once; reading, error texts and the written documentation all come from it.
//
// A file is taken whole or not at all. What is wrong in it is told by file, line and column
// with what was expected, all of it together, up to MaxProblems for each file.
package coopfiles
