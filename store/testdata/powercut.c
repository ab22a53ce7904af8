// Preloaded into a program, this writes down everything that it writes to files named *.db and *.db-wal, and when it has them
// synced, in one log in the order of the calls. From that a test makes the disk as a power cut at any instant would leave it.
//
// A record: one byte of kind, one byte of file (0 database, 1 log), 8 bytes of offset or size, 8 bytes of length, the bytes.
// Kinds: W written, T truncated, S synced. All numbers are little-endian as the machine keeps them.
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

enum { FDS = 1024 };
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int logfd = -1;
static char kind[FDS]; // 0 not ours, 1 database, 2 write-ahead log

__attribute__((constructor)) static void begin(void) {
	const char *name = getenv("POWERCUT_LOG");
	if (name) logfd = syscall(SYS_openat, AT_FDCWD, name, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static void note(char what, int fd, uint64_t at, const void *bytes, uint64_t n) {
	uint64_t size = 18 + (bytes ? n : 0);
	unsigned char *rec = malloc(size);
	if (!rec) _exit(99);
	rec[0] = what;
	rec[1] = kind[fd] - 1;
	memcpy(rec + 2, &at, 8);
	memcpy(rec + 10, &n, 8);
	if (bytes) memcpy(rec + 18, bytes, n);
	if (syscall(SYS_write, logfd, rec, size) != (long)size) _exit(98);
	free(rec);
}

static int ours(int fd) { return logfd >= 0 && fd >= 0 && fd < FDS && kind[fd]; }

static int opened(int fd, const char *path) {
	if (fd >= 0 && fd < FDS) {
		const char *end = path + strlen(path);
		kind[fd] = end - path > 7 && !strcmp(end - 7, ".db-wal") ? 2 : end - path > 3 && !strcmp(end - 3, ".db") ? 1 : 0;
	}
	return fd;
}

#define OPEN(name)                                                               \
	int name(const char *path, int flags, ...) {                                   \
		va_list more;                                                                \
		va_start(more, flags);                                                       \
		int mode = va_arg(more, int);                                                \
		va_end(more);                                                                \
		return opened(syscall(SYS_openat, AT_FDCWD, path, flags, mode), path);       \
	}
OPEN(open)
OPEN(open64)

int close(int fd) {
	if (fd >= 0 && fd < FDS) kind[fd] = 0;
	return syscall(SYS_close, fd);
}

static ssize_t put(int fd, const void *bytes, size_t n, off_t at) {
	if (!ours(fd)) return syscall(SYS_pwrite64, fd, bytes, n, at);
	pthread_mutex_lock(&lock);
	ssize_t done = syscall(SYS_pwrite64, fd, bytes, n, at);
	if (done > 0) note('W', fd, at, bytes, done);
	pthread_mutex_unlock(&lock);
	return done;
}
ssize_t pwrite(int fd, const void *bytes, size_t n, off_t at) { return put(fd, bytes, n, at); }
ssize_t pwrite64(int fd, const void *bytes, size_t n, off_t at) { return put(fd, bytes, n, at); }

static int cut(int fd, off_t size) {
	if (!ours(fd)) return syscall(SYS_ftruncate, fd, size);
	pthread_mutex_lock(&lock);
	int done = syscall(SYS_ftruncate, fd, size);
	if (!done) note('T', fd, size, NULL, 0);
	pthread_mutex_unlock(&lock);
	return done;
}
int ftruncate(int fd, off_t size) { return cut(fd, size); }
int ftruncate64(int fd, off_t size) { return cut(fd, size); }

static int synced(int fd, long call) {
	int done = syscall(call, fd);
	if (!done && ours(fd)) {
		pthread_mutex_lock(&lock);
		note('S', fd, 0, NULL, 0);
		pthread_mutex_unlock(&lock);
	}
	return done;
}
int fsync(int fd) { return synced(fd, SYS_fsync); }
int fdatasync(int fd) { return synced(fd, SYS_fdatasync); }
