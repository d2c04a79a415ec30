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

// compare sorts items by what the suite has of them. own are the fields that the file gives,
// without the id; what else a thing has is the suite's own business. A changed item is what
// was read, etag included, with the file's fields in place.
func compare[M proto.Message](wanted []item[M], have map[string]M, id func(M) string, own ...protoreflect.Name) pending[M] {
	var p pending[M]
	for _, w := range wanted {
		present, known := have[id(w.message)]
		if !known {
			p.fresh = append(p.fresh, w)
			continue
		}
		merged := proto.CloneOf(present)
		overwrite(merged.ProtoReflect(), w.message.ProtoReflect(), own)
		if proto.Equal(merged, present) {
			p.same++
			continue
		}
		p.changed = append(p.changed, item[M]{merged, w.lines})
	}
	return p
}

// overwrite gives the named fields of to the values that they have in from.
func overwrite(to, from protoreflect.Message, names []protoreflect.Name) {
	for _, name := range names {
		field := to.Descriptor().Fields().ByName(name)
		if from.Has(field) {
			to.Set(field, from.Get(field))
		} else {
			to.Clear(field)
		}
	}
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
