package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"

	"google.golang.org/grpc"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/deploy/internal/importer"
	"breakshare.example/deploy/onemachine"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
)

func runImport(ctx context.Context, args []string, std streams) int {
	var c common
	flags := flag.NewFlagSet("import", flag.ContinueOnError)
	c.register(flags)
	rest, code, ok := parse(flags, args, std, "DIR")
	if !ok {
		return code
	}
	s, err := c.settings()
	if err != nil {
		return failed(std, "import", err)
	}
	files, err := coopfiles.Read(rest[0])
	if err != nil {
		return refused(std, "import", rest[0], err)
	}
	addresses, err := onemachine.ReadAddresses(s.Data)
	if err != nil {
		return failed(std, "import", err)
	}
	tokens, err := onemachine.Tokens(s, clock.System())
	if err != nil {
		return failed(std, "import", err)
	}
	peers := host.NewPeers(addresses.Services, rpc.DialOptions{Tokens: tokens, Caller: "import"})
	_, err = importFolder(ctx, peers.Dial, files, std.out)
	if err == nil {
		err = onemachine.SetLocal(s.Data, coordinator(files))
	}
	if err := errors.Join(err, peers.Close()); err != nil {
		return refused(std, "import", rest[0], err)
	}
	fmt.Fprintf(std.out, "%s is in; the pages at %s show it\n", files.Coop.Name, addresses.Gateway)
	return 0
}

// coordinator is the identity in which a co-op's files come in and, until there is sign-in,
// its pages are shown on this machine.
func coordinator(files *coopfiles.Folder) identity.Identity {
	return identity.Identity{CoopID: files.Coop.CoopID, Role: identity.Coordinator, Name: "Office"}
}

// importFolder imports read files and tells of each on out.
func importFolder(ctx context.Context, dial func(string) (*grpc.ClientConn, error), files *coopfiles.Folder, out io.Writer) (importer.Clients, error) {
	clients, err := importer.Connect(dial)
	if err != nil {
		return clients, err
	}
	im := importer.Importer{Clients: clients, Tell: func(o importer.Outcome) { fmt.Fprintln(out, o) }}
	_, err = im.Import(identity.With(ctx, coordinator(files)), files)
	return clients, err
}

// refused reports what is wrong with a folder's files, one problem a line: exit code 2. Any
// other error is a failure.
func refused(std streams, name, dir string, err error) int {
	var problems *coopfiles.Problems
	if !errors.As(err, &problems) {
		return failed(std, name, err)
	}
	fmt.Fprintf(std.err, "breakshare %s: mend the files of %s:\n", name, dir)
	for _, p := range problems.List {
		fmt.Fprintln(std.err, " ", p)
	}
	return 2
}
