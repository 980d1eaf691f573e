/* Every write, and every read, takes half of what it is asked to take, as a system may; the last one says how many. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static unsigned long writes;

static size_t half(size_t length) { return length > 1 ? length / 2 : length; }

ssize_t write(int file, const void *bytes, size_t length) {
  static ssize_t (*real)(int, const void *, size_t);
  if (!real) real = dlsym(RTLD_NEXT, "write");
  if (length > 1) writes++;
  return real(file, bytes, half(length));
}

ssize_t pwrite64(int file, const void *bytes, size_t length, off64_t at) {
  static ssize_t (*real)(int, const void *, size_t, off64_t);
  if (!real) real = dlsym(RTLD_NEXT, "pwrite64");
  if (length > 1) writes++;
  return real(file, bytes, half(length), at);
}

ssize_t writev(int file, const struct iovec *parts, int count) {
  if (count < 1) return 0;
  return write(file, parts[0].iov_base, parts[0].iov_len);
}

ssize_t read(int file, void *bytes, size_t length) {
  static ssize_t (*real)(int, void *, size_t);
  if (!real) real = dlsym(RTLD_NEXT, "read");
  return real(file, bytes, half(length));
}

ssize_t pread64(int file, void *bytes, size_t length, off64_t at) {
  static ssize_t (*real)(int, void *, size_t, off64_t);
  if (!real) real = dlsym(RTLD_NEXT, "pread64");
  return real(file, bytes, half(length), at);
}

ssize_t copy_file_range(int from, off64_t *in, int to, off64_t *out, size_t length, unsigned flags) {
  static ssize_t (*real)(int, off64_t *, int, off64_t *, size_t, unsigned);
  if (!real) real = dlsym(RTLD_NEXT, "copy_file_range");
  writes++;
  return real(from, in, to, out, length > 1000 ? 1000 : length, flags);
}

__attribute__((destructor)) static void say(void) {
  const char *path = getenv("SHORT_WRITES_LOG");
  FILE *log = path ? fopen(path, "w") : NULL;
  if (!log) return;
  fprintf(log, "%lu\n", writes);
  fclose(log);
}
