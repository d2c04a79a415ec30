package localnats

import (
	"fmt"
	"log/slog"
)

// logger passes the server's own words on to slog. Its notices are many and of
// no use to an operator of one machine, so they go out as debug.
type logger struct{ log *slog.Logger }

func (l logger) Noticef(format string, v ...any) { l.log.Debug(line(format, v)) }
func (l logger) Debugf(format string, v ...any)  { l.log.Debug(line(format, v)) }
func (l logger) Tracef(format string, v ...any)  { l.log.Debug(line(format, v)) }
func (l logger) Warnf(format string, v ...any)   { l.log.Warn(line(format, v)) }
func (l logger) Errorf(format string, v ...any)  { l.log.Error(line(format, v)) }

// Fatalf only logs: a library must not end the process. The server that called
// it is not ready, and Start reports that.
func (l logger) Fatalf(format string, v ...any) { l.log.Error(line(format, v)) }

func line(format string, v []any) string { return "bus server: " + fmt.Sprintf(format, v...) }
