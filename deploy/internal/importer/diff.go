package importer

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// item is one element of a batch with the lines of the file that it comes from: its own
// first; of an order one for each of its lines.
type item[M proto.Message] struct {
	message M
	lines   []int
}

// pending are the items that the suite lacks or has otherwise.
type pending[M proto.Message] struct {
	fresh, changed []item[M]
	same           int
}

// all are the items to send: new ones first.
func (p pending[M]) all() []item[M] { return append(p.fresh[:len(p.fresh):len(p.fresh)], p.changed...) }

func (p pending[M]) outcome() Outcome {
	return Outcome{New: len(p.fresh), Changed: len(p.changed), Same: p.same}
}

// compare sorts items by what the suite has of them. ignored are the fields that the service
// sets by itself. A changed item gets the etag of what was read, where there is one.
func compare[M proto.Message](wanted []item[M], have map[string]M, id func(M) string, ignored ...protoreflect.Name) pending[M] {
	var p pending[M]
	for _, w := range wanted {
		present, known := have[id(w.message)]
		if !known {
			p.fresh = append(p.fresh, w)
			continue
		}
		bare := proto.CloneOf(present).ProtoReflect()
		fields := bare.Descriptor().Fields()
		etag := fields.ByName("etag")
		for _, name := range ignored {
			bare.Clear(fields.ByName(name))
		}
		if etag != nil {
			bare.Clear(etag)
		}
		if proto.Equal(bare.Interface(), w.message) {
			p.same++
			continue
		}
		if etag != nil {
			w.message.ProtoReflect().Set(etag, present.ProtoReflect().Get(etag))
		}
		p.changed = append(p.changed, w)
	}
	return p
}

// messages are the items without their lines.
func messages[M proto.Message](items []item[M]) []M {
	out := make([]M, len(items))
	for i, it := range items {
		out[i] = it.message
	}
	return out
}

func linesOf[M proto.Message](items []item[M]) [][]int {
	out := make([][]int, len(items))
	for i, it := range items {
		out[i] = it.lines
	}
	return out
}
