package auditpage

import (
	"io"

	"tachbench/mixplan/audit"
)

func Write(w io.Writer, r *audit.Result) error { return nil }
