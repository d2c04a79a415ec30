//go:build !linux

package localpg

import "syscall"

// dieWithParent can do nothing here: the server outlives a killed parent until
// the next Start stops it.
func dieWithParent(*syscall.SysProcAttr) {}
