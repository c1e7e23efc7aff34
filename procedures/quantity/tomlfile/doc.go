// Package tomlfile reads a TOML file into a struct of quantities and tells
// every mistake of the file at once, each with file, line and key.
//
// It stands on the ground floor beside quantity, because the files of both
// procedures and drivers are read by it. What the keys mean is not its
// business: callers add their own findings with [Document.Add] and get them
// back, sorted by line, from [Document.Err].
package tomlfile
