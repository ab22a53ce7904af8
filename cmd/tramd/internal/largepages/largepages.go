// Package largepages lets a short piece of work with much memory take it from the kernel in large pages. The kernel
// hands out a page at its first use, and on a virtual machine each such moment costs some microseconds: those of a fit of
// a million readings are a third of its time. Many systems give large pages only to programs that ask for them
// (/sys/kernel/mm/transparent_hugepage/enabled: madvise).
package largepages

import (
	"runtime"
	"strconv"
	"unsafe"

	"golang.org/x/sys/unix"
)

const (
	page = 2 << 20   // bytes: on arm64 and amd64 with pages of 4 KiB
	most = 256 << 20 // bytes that are asked for at once: work that needs more takes the rest in small pages
)

// Prepare makes the heap ready for so many bytes of large pages. Nothing is used of what the work does not touch.
// Where the system has none the heap is as it was.
func Prepare(bytes int64) {
	if strconv.IntSize < 64 || bytes < 4*page {
		return
	}
	heap := make([]byte, min(bytes, most))
	skip := -uintptr(unsafe.Pointer(unsafe.SliceData(heap))) % page
	// Without them the work only takes longer.
	_ = unix.Madvise(heap[skip:skip+(uintptr(len(heap))-skip)/page*page], unix.MADV_HUGEPAGE)
	runtime.GC() // which frees it: what is allocated next comes from there
}
