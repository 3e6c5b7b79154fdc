package control

import (
	"context"
	"fmt"
	"net/http"
	"reflect"
	"strings"
)

type actingKey struct{}

// As makes the requests of ctx act as a person who has proved who they are, by name: they can act as nobody else then.
func As(ctx context.Context, name string) context.Context {
	return context.WithValue(ctx, actingKey{}, name)
}

// sign fills in who acts, where that was proved. in points to the struct of a request.
func sign(ctx context.Context, in any) error {
	name, proved := ctx.Value(actingKey{}).(string)
	if !proved {
		return nil
	}
	request := reflect.ValueOf(in).Elem()
	if second := request.FieldByName("Second"); second.IsValid() && second.String() != "" {
		return &Error{http.StatusForbidden, "a second person signs with their own password on the pages: do it there"}
	}
	person := request.FieldByName("Person")
	if !person.IsValid() {
		return nil
	}
	if said := strings.Join(strings.Fields(person.String()), " "); said != "" && said != name {
		return &Error{http.StatusForbidden, fmt.Sprintf("you are %s and cannot act as %q: leave out person, or prove that you are the other one", name, said)}
	}
	person.SetString(name)
	return nil
}
