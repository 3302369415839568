package store

import "path/filepath"

// Known gives the remembered SHA-256 of a file whose size, time of change and inode are as they were, without reading it. ok is false
// when it is not known, has changed, is too young to be trusted, or cannot be looked at.
func (h *FileHashes) Known(root, rel string) (sum [32]byte, size int64, ok bool) {
	info, err := h.stat(filepath.Join(root, filepath.FromSlash(rel)), rel)
	if err != nil {
		return sum, 0, false
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	known, ok := h.files[rel]
	if !ok || known.hash == ([32]byte{}) || !known.matches(info) || h.now().Sub(info.ModTime()) < youngest {
		return sum, 0, false
	}
	return known.hash, known.size, true
}
