// Package store keeps objects and an index of them on disk.
//
// An object is the bytes of one output item, named by the SHA-256 of these bytes
// (its [ContentHash]). The index says which objects a recipe gave: one line a
// recipe, found by the [RecipeKey]. The package knows nothing of what the bytes
// mean. All of it can be remade, so nothing but the version mark is forced to the
// disk (fsync); instead everything that is read is checked, and what is damaged
// is never handed out.
//
//	VERSION        format of the store
//	README         for whoever finds the folder
//	CACHEDIR.TAG   tells backup programs to leave the folder out
//	objects/ab/…   one file an object, under the first two digits of its hash
//	index          JSON, one line a recipe, appended to; its checksum at its end
//
// Writers hold [Lock]; readers need none.
package store
