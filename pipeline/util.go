package pipeline

import "runtime"

func maxProcs() int { return runtime.GOMAXPROCS(0) }
