package app

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"leafturn/internal/civil"
)

// csvTable makes one row of each record: the columns are the names that the
// JSON has. A value that is not known is an empty cell, a list is joined by
// "; ".
func csvTable[T any](list []T) (header []string, rows [][]string) {
	typ := reflect.TypeFor[T]()
	for i := range typ.NumField() {
		header = append(header, typ.Field(i).Tag.Get("json"))
	}
	for _, x := range list {
		v := reflect.ValueOf(x)
		row := make([]string, len(header))
		for i := range row {
			row[i] = cell(v.Field(i).Interface())
		}
		rows = append(rows, row)
	}
	return header, rows
}

func cell(v any) string {
	switch x := v.(type) {
	case string:
		return x
	case bool:
		if x {
			return "yes"
		}
		return "no"
	case int:
		return strconv.Itoa(x)
	case int64:
		return strconv.FormatInt(x, 10)
	case float64:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case *float64:
		if x != nil {
			return cell(*x)
		}
		return ""
	case *int:
		if x != nil {
			return cell(*x)
		}
		return ""
	case *int64:
		if x != nil {
			return cell(*x)
		}
		return ""
	case civil.Date:
		return x.String()
	case []string:
		return strings.Join(x, "; ")
	case []DeviationData:
		var words []string
		for _, d := range x {
			words = append(words, d.Code+": "+d.Text+seenWords(d, x)+". Now: "+d.Next)
		}
		return strings.Join(words, "; ")
	}
	panic(fmt.Sprintf("records: a cell cannot hold a %T", v))
}
