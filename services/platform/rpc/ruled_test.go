package rpc

import (
	"sync"
	"testing"

	rules "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
)

// ruledFile is a proto file made here, so that the rules under test stand
// beside the test:
//
//	message Row { int64 grams = 1 [(buf.validate.field).int64.gt = 0]; }
//	message Ruled { repeated Row rows = 1; string name = 2 [(buf.validate.field).string.min_len = 1]; }
//	service Rows { Read NO_SIDE_EFFECTS; Put IDEMPOTENT; Add }
var ruledFile = sync.OnceValue(func() protoreflect.FileDescriptor {
	rule := func(r *rules.FieldRules) *descriptorpb.FieldOptions {
		o := &descriptorpb.FieldOptions{}
		proto.SetExtension(o, rules.E_Field, r)
		return o
	}
	field := func(name string, n int32, kind descriptorpb.FieldDescriptorProto_Type, o *descriptorpb.FieldOptions) *descriptorpb.FieldDescriptorProto {
		return &descriptorpb.FieldDescriptorProto{
			Name: proto.String(name), Number: proto.Int32(n), Type: kind.Enum(),
			Label: descriptorpb.FieldDescriptorProto_LABEL_OPTIONAL.Enum(), Options: o,
		}
	}
	rows := field("rows", 1, descriptorpb.FieldDescriptorProto_TYPE_MESSAGE, nil)
	rows.Label, rows.TypeName = descriptorpb.FieldDescriptorProto_LABEL_REPEATED.Enum(), proto.String(".rpctest.Row")
	grams := rule(rules.FieldRules_builder{Int64: rules.Int64Rules_builder{Gt: proto.Int64(0)}.Build()}.Build())
	name := rule(rules.FieldRules_builder{String: rules.StringRules_builder{MinLen: proto.Uint64(1)}.Build()}.Build())
	method := func(name string, level descriptorpb.MethodOptions_IdempotencyLevel) *descriptorpb.MethodDescriptorProto {
		return &descriptorpb.MethodDescriptorProto{
			Name: proto.String(name), InputType: proto.String(".rpctest.Ruled"), OutputType: proto.String(".rpctest.Ruled"),
			Options: &descriptorpb.MethodOptions{IdempotencyLevel: level.Enum()},
		}
	}
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("rpctest.proto"), Package: proto.String("rpctest"), Syntax: proto.String("proto3"),
		Dependency: []string{"buf/validate/validate.proto"},
		MessageType: []*descriptorpb.DescriptorProto{
			{Name: proto.String("Row"), Field: []*descriptorpb.FieldDescriptorProto{
				field("grams", 1, descriptorpb.FieldDescriptorProto_TYPE_INT64, grams),
			}},
			{Name: proto.String("Ruled"), Field: []*descriptorpb.FieldDescriptorProto{
				rows, field("name", 2, descriptorpb.FieldDescriptorProto_TYPE_STRING, name),
			}},
		},
		Service: []*descriptorpb.ServiceDescriptorProto{{
			Name: proto.String("Rows"),
			Method: []*descriptorpb.MethodDescriptorProto{
				method("Read", descriptorpb.MethodOptions_NO_SIDE_EFFECTS),
				method("Put", descriptorpb.MethodOptions_IDEMPOTENT),
				method("Add", descriptorpb.MethodOptions_IDEMPOTENCY_UNKNOWN),
			},
		}},
	}, protoregistry.GlobalFiles)
	if err != nil {
		panic(err)
	}
	return file
})

// ruled returns a Ruled message with the name and rows of the grams.
func ruled(t *testing.T, name string, grams ...int64) proto.Message {
	t.Helper()
	desc := ruledFile().Messages().ByName("Ruled")
	m := dynamicpb.NewMessage(desc)
	m.Set(desc.Fields().ByName("name"), protoreflect.ValueOfString(name))
	rows := m.Mutable(desc.Fields().ByName("rows")).List()
	for _, g := range grams {
		row := rows.NewElement()
		row.Message().Set(row.Message().Descriptor().Fields().ByName("grams"), protoreflect.ValueOfInt64(g))
		rows.Append(row)
	}
	return m
}
