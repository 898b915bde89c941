// A shim between SQLite and the C library, for tests, loaded by LD_PRELOAD. It
// writes down every write, truncation, sync and removal of one database's
// files, and fails them on demand. It sees only calls through the C library,
// which are all of SQLite's and none of Go's.
//
// SHIM_DB   the database's path; its -wal and -journal belong to it
// SHIM_LOG  the log, appended to; see TestMain's reader for its form
// SHIM_FAIL n errno ever: the n-th write or sync (from 1) fails with errno,
//           and, if ever is 1, all later ones; if errno is 0, the process is
//           killed there
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static pthread_mutex_t one = PTHREAD_MUTEX_INITIALIZER;
static const char *db;
static int out = -1;
static long nth, calls;
static int fails_with, for_ever;

__attribute__((constructor)) static void start(void) {
	const char *log = getenv("SHIM_LOG"), *fail = getenv("SHIM_FAIL");
	db = getenv("SHIM_DB");
	if (!db || !log) return;
	out = open(log, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
	if (fail) sscanf(fail, "%ld %d %d", &nth, &fails_with, &for_ever);
}

// file tells which of the database's files a path is: d, w, j, or 0 for none.
static char file(const char *path) {
	size_t n = db ? strlen(db) : 0;
	if (out < 0 || strncmp(path, db, n)) return 0;
	if (!path[n]) return 'd';
	if (!strcmp(path + n, "-wal")) return 'w';
	if (!strcmp(path + n, "-journal")) return 'j';
	return 0;
}

static char file_of(int fd) {
	char link[64], path[4096];
	if (out < 0) return 0;
	snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
	ssize_t n = readlink(link, path, sizeof path - 1);
	if (n < 0) return 0;
	path[n] = 0;
	return file(path);
}

// note adds a record: what was done to which file, where, and with what.
static void note(char op, char f, uint64_t at, uint64_t length, const void *data) {
	char head[18] = {op, f};
	memcpy(head + 2, &at, 8);
	memcpy(head + 10, &length, 8);
	struct iovec parts[2] = {{head, sizeof head}, {(void *)data, data ? length : 0}};
	if (syscall(SYS_writev, out, parts, 2) < 0) abort();
}

// failing counts a call, and is true if it is to fail.
static int failing(char op, char f) {
	calls++;
	if (!nth || calls < nth || (calls > nth && !for_ever)) return 0;
	note('F', f, op, 0, 0);
	if (!fails_with) kill(getpid(), SIGKILL);
	errno = fails_with;
	return 1;
}

#define REAL(name) __typeof__(&name) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

#define WRITES(name, offset)                                                        \
	ssize_t name(int fd, const void *data, size_t n, offset at) {                   \
		REAL(name);                                                                 \
		char f = file_of(fd);                                                       \
		if (!f) return real(fd, data, n, at);                                       \
		pthread_mutex_lock(&one);                                                   \
		ssize_t done = failing('W', f) ? -1 : real(fd, data, n, at);                \
		if (done > 0) note('W', f, at, done, data);                                 \
		pthread_mutex_unlock(&one);                                                 \
		return done;                                                                \
	}
WRITES(pwrite, off_t)
WRITES(pwrite64, off64_t)

ssize_t write(int fd, const void *data, size_t n) {
	REAL(write);
	char f = file_of(fd);
	if (!f) return real(fd, data, n);
	pthread_mutex_lock(&one);
	off_t at = lseek(fd, 0, SEEK_CUR);
	ssize_t done = failing('W', f) ? -1 : real(fd, data, n);
	if (done > 0) note('W', f, at, done, data);
	pthread_mutex_unlock(&one);
	return done;
}

#define SYNCS(name)                                                                 \
	int name(int fd) {                                                              \
		REAL(name);                                                                 \
		char f = file_of(fd);                                                       \
		if (!f) return real(fd);                                                    \
		pthread_mutex_lock(&one);                                                   \
		int failed = failing('S', f) ? -1 : real(fd);                               \
		if (!failed) note('S', f, 0, 0, 0);                                         \
		pthread_mutex_unlock(&one);                                                 \
		return failed;                                                              \
	}
SYNCS(fsync)
SYNCS(fdatasync)

#define TRUNCATES(name, offset)                                                     \
	int name(int fd, offset length) {                                               \
		REAL(name);                                                                 \
		char f = file_of(fd);                                                       \
		if (!f) return real(fd, length);                                            \
		pthread_mutex_lock(&one);                                                   \
		int failed = failing('T', f) ? -1 : real(fd, length);                       \
		if (!failed) note('T', f, length, 0, 0);                                    \
		pthread_mutex_unlock(&one);                                                 \
		return failed;                                                              \
	}
TRUNCATES(ftruncate, off_t)
TRUNCATES(ftruncate64, off64_t)

int unlink(const char *path) {
	REAL(unlink);
	char f = file(path);
	int failed = real(path);
	if (f && !failed) {
		pthread_mutex_lock(&one);
		note('U', f, 0, 0, 0);
		pthread_mutex_unlock(&one);
	}
	return failed;
}
