package localpg

import "syscall"

// dieWithParent has the kernel ask the server for a fast shutdown when this
// process dies, be it by SIGKILL.
func dieWithParent(attr *syscall.SysProcAttr) { attr.Pdeathsig = syscall.SIGINT }
