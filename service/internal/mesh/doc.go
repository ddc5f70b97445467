// Package mesh reads triangle meshes (STL, text and binary) and wraps each connected piece in the convex hull of a few points that
// provably holds it.
//
// A mesh is a bag of triangles without a unit and without a word on what belongs together. Read takes it in as written, each corner
// once; Wrap scales it to millimetres, finds the pieces that share corners and gives of each some tens of its corners and a length:
// everything drawn lies within that length of the hull of those corners. What the hull fills in is measured, where the piece is a
// closed surface. Lengths of a Mesh are in the unit of its file, those of a Piece millimetres; both have the file's own directions.
//
// Two corners are one if they are equal as written (in the float32 of the binary form, the number of the text form; -0 is 0):
// the tolerance is none. A piece that rounding splits makes two hulls, which hold its triangles as well, though perhaps not what
// they enclose: Piece.Closed tells.
//
// It does not know rigs, units by name, margins or where a mesh stands. It reads no colours, normals or names. A drawing is taken as
// right: how far the real part differs from it is the caller's margin.
package mesh
