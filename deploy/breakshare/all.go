package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"time"

	"breakshare.example/deploy/onemachine"
	"breakshare.example/deploy/settings"
	"breakshare.example/services/platform/telemetry"
)

// stopTime is how long a stop may take before it is given up.
const stopTime = 30 * time.Second

// common are the flags of every command that starts or reaches a suite.
type common struct{ config, data, listen string }

func (c *common) register(flags *flag.FlagSet) {
	flags.StringVar(&c.config, "config", "", "settings `file` (JSON); without it everything is private to the data folder")
	flags.StringVar(&c.data, "data", "", "data `folder`; default .data")
}

func (c *common) registerListen(flags *flag.FlagSet) {
	flags.StringVar(&c.listen, "listen", "", "loopback `address` of the pages; default 127.0.0.1:8080")
}

// settings reads the file and lets the flags have the last word.
func (c *common) settings() (settings.Settings, error) {
	s, err := settings.Load(c.config)
	if err != nil {
		return s, err
	}
	if c.data != "" {
		s.Data = c.data
	}
	if c.listen != "" {
		if !settings.Loopback(c.listen) {
			return s, fmt.Errorf("--listen %s can be reached by others, and there is no sign-in yet: give a loopback address such as 127.0.0.1:8080", c.listen)
		}
		s.Listen = c.listen
	}
	return s, nil
}

func runAll(ctx context.Context, args []string, std streams) int {
	var c common
	flags := flag.NewFlagSet("all", flag.ContinueOnError)
	c.register(flags)
	c.registerListen(flags)
	if _, code, ok := parse(flags, args, std); !ok {
		return code
	}
	s, err := c.settings()
	if err != nil {
		return failed(std, "all", err)
	}
	return ended(ctx, std, "all", serveAll(ctx, s, std))
}

// serveAll runs the suite until ctx ends.
func serveAll(ctx context.Context, s settings.Settings, std streams) error {
	tel, err := startTelemetry(ctx, "breakshare", s, std)
	if err != nil {
		return err
	}
	stack, err := onemachine.Start(ctx, onemachine.Options{Settings: s, Log: tel.Log, Meter: tel.Meter, Metrics: tel.Metrics})
	if err == nil {
		fmt.Fprintf(std.out, "serving on %s, this machine only: there is no sign-in yet\n", stack.URL())
		<-ctx.Done()
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	if stack != nil {
		err = errors.Join(err, stack.Stop(ctx))
	}
	return errors.Join(err, tel.Shutdown(ctx))
}

// startTelemetry makes the process tell of itself as the settings ask.
func startTelemetry(ctx context.Context, name string, s settings.Settings, std streams) (*telemetry.Telemetry, error) {
	tel, err := telemetry.Start(ctx, telemetry.Options{
		Service: name, Version: version(), LogFormat: s.Telemetry.LogFormat, LogLevel: s.Telemetry.LogLevel, LogOutput: std.err,
		OTLPEndpoint: s.Telemetry.OTLPEndpoint, OTLPInsecure: s.Telemetry.OTLPInsecure,
	})
	if err != nil {
		return nil, err
	}
	tel.InstallGlobal()
	return tel, nil
}
