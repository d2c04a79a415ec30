package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/deploy/internal/demoday"
	"breakshare.example/deploy/onemachine"
	"breakshare.example/deploy/settings"
	"breakshare.example/services/platform/identity"
)

// demo are the flags of the command.
type demo struct {
	common
	once, json bool
	coop, day  string
}

func runDemo(ctx context.Context, args []string, std streams) int {
	var d demo
	flags := flag.NewFlagSet("demo", flag.ContinueOnError)
	d.register(flags)
	d.registerListen(flags)
	flags.BoolVar(&d.once, "once", false, "end after the tables and the trace")
	flags.BoolVar(&d.json, "json", false, "print one JSON object on stdout and everything else on stderr")
	flags.StringVar(&d.coop, "coop", filepath.Join("testdata", "coop"), "`folder` of the co-op's files")
	flags.StringVar(&d.day, "day", "", "`day` of delivery, like 2026-11-26; default the last with orders and expected picks")
	if _, code, ok := parse(flags, args, std); !ok {
		return code
	}
	files, err := coopfiles.Read(d.coop)
	if err != nil {
		return refused(std, "demo", d.coop, err)
	}
	plan, err := demoday.NewPlan(files, d.day)
	if err != nil {
		return failed(std, "demo", err)
	}
	s, err := d.settings()
	if err == nil {
		err = d.prepare(&s)
	}
	if err == nil {
		err = d.run(ctx, s, files, plan, std)
	}
	if err != nil {
		return refused(std, "demo", d.coop, err)
	}
	return 0
}

// prepare chooses the demo's own data folder, empty, unless one was named, and an address
// that is free.
func (d *demo) prepare(s *settings.Settings) error {
	if d.once && d.listen == "" {
		s.Listen = "127.0.0.1:0"
	}
	l, err := net.Listen("tcp", s.Listen)
	if err != nil {
		return fmt.Errorf("%w; stop what serves there, or choose another address with --listen", err)
	}
	if err := l.Close(); err != nil {
		return err
	}
	if d.data != "" || d.config != "" {
		return nil
	}
	s.Data = filepath.Join(s.Data, "demo")
	if url, runs := running(s.Data); runs {
		return fmt.Errorf("%s serves from the data folder %s: end it first, or name another folder with --data", url, s.Data)
	}
	return os.RemoveAll(s.Data)
}

// running reports whether a suite still answers where the data folder says that it did last.
func running(data string) (string, bool) {
	addresses, err := onemachine.ReadAddresses(data)
	if err != nil {
		return "", false // no suite has run there
	}
	c, err := net.DialTimeout("tcp", strings.TrimPrefix(addresses.Gateway, "http://"), time.Second)
	if err != nil {
		return "", false
	}
	_ = c.Close()
	return addresses.Gateway, true
}

// run starts the suite on the afternoon before the day, imports, runs the day and serves.
func (d *demo) run(ctx context.Context, s settings.Settings, files *coopfiles.Folder, plan demoday.Plan, std streams) (err error) {
	tell := std.out
	if d.json {
		tell = std.err
	}
	if s.Telemetry.LogLevel == settings.Default().Telemetry.LogLevel {
		s.Telemetry.LogLevel = "warn" // the tables are what one looks at
	}
	tel, err := startTelemetry(ctx, "breakshare", s, std)
	if err != nil {
		return err
	}
	clk := demoday.NewClock(plan.Afternoon())
	fmt.Fprintf(tell, "%s, deliveries of %s\nthe suite's clock starts at %s and goes on from there\n\n", files.Coop.Name, plan.Day, plan.Afternoon().Format("Monday 2 January 2006 15:04 MST"))
	stack, err := onemachine.Start(ctx, onemachine.Options{Settings: s, Clock: clk, Log: tel.Log, Meter: tel.Meter, Metrics: tel.Metrics})
	defer func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
		defer cancel()
		if stack != nil {
			err = errors.Join(err, stack.Stop(ctx))
		}
		err = errors.Join(err, tel.Shutdown(ctx))
	}()
	if err != nil {
		return err
	}
	who := coordinator(files)
	if err := onemachine.SetLocal(s.Data, who); err != nil {
		return err
	}
	picks := plan.HoldBack(files)
	clients, err := importFolder(ctx, stack.Dial, files, tell)
	if err != nil {
		return err
	}
	day := &demoday.Day{Clients: clients, Plan: plan, Clock: clk, Files: files, Picks: picks, Out: tell}
	summary, err := day.Run(identity.With(ctx, who))
	if err != nil {
		return err
	}
	if d.json {
		encoder := json.NewEncoder(std.out)
		encoder.SetIndent("", "  ")
		if err := encoder.Encode(summary); err != nil {
			return err
		}
	}
	if d.once {
		return nil
	}
	fmt.Fprintf(tell, "\nserving on this machine only, for there is no sign-in yet: %s/tomorrow?day=%s\nCtrl-C ends it\n", stack.URL(), plan.Day)
	<-ctx.Done()
	return nil
}
