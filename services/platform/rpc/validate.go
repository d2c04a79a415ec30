package rpc

import (
	"errors"
	"fmt"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"breakshare.example/services/platform/fault"
)

// ReasonInvalidRequest is the reason of a request that breaks its own
// message's rules.
const ReasonInvalidRequest = "INVALID_REQUEST"

// validate checks a message against the protovalidate rules in its proto. It
// returns an Invalid fault with one field per violation; rules that cannot be
// evaluated are a mistake in the proto and Internal.
func validate(m any) error {
	msg, ok := m.(proto.Message)
	if !ok {
		return nil
	}
	err := protovalidate.Validate(msg)
	if err == nil {
		return nil
	}
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) || len(broken.Violations) == 0 {
		return fmt.Errorf("validate %s: %w", msg.ProtoReflect().Descriptor().FullName(), err)
	}
	message := broken.Violations[0].String()
	if more := len(broken.Violations) - 1; more > 0 {
		message = fmt.Sprintf("%s (and %d more)", message, more)
	}
	e := fault.New(fault.Invalid, ReasonInvalidRequest, "%s", message)
	for _, v := range broken.Violations {
		text := v.Proto.GetMessage()
		if text == "" {
			text = "breaks the rule " + v.Proto.GetRuleId()
		}
		e = e.WithField(protovalidate.FieldPathString(v.Proto.GetField()), "%s", text)
	}
	return e
}
