/* A GPIO chip of 32 lines behind /dev/null, for a program that has this preloaded: what the kernel answers to the calls of
   include/uapi/linux/gpio.h, version 2, as far as a reader of lines makes them.

   Line 5 is held by "other-driver". Line 7 is named "FLOW". A line that is taken for its closings has GPIO_SHIM_EDGES edges waiting,
   1 ms apart, of which GPIO_SHIM_LOST in the middle are missing. Odd lines are active. Each request, and what lines are set to, is told
   on standard error. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/gpio.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

static unsigned offset_of[1024]; /* by handle: 1 + the line */

char *realpath(const char *path, char *resolved)
{
	char *(*real)(const char *, char *) = dlsym(RTLD_NEXT, "realpath");
	if (!strcmp(path, "/sys/dev/char/1:3/subsystem")) {
		if (!resolved)
			return strdup("/sys/bus/gpio");
		return strcpy(resolved, "/sys/bus/gpio");
	}
	return real(path, resolved);
}

char *__realpath_chk(const char *path, char *resolved, size_t size)
{
	(void)size;
	return realpath(path, resolved);
}

static int line_request(struct gpio_v2_line_request *r)
{
	unsigned debounce_us = 0, i;
	unsigned long long flags = r->config.flags;
	if (r->offsets[0] == 5) {
		errno = EBUSY;
		return -1;
	}
	for (i = 0; i < r->config.num_attrs; i++) {
		struct gpio_v2_line_attribute *a = &r->config.attrs[i].attr;
		if (a->id == GPIO_V2_LINE_ATTR_ID_DEBOUNCE)
			debounce_us = a->debounce_period_us;
		if (a->id == GPIO_V2_LINE_ATTR_ID_FLAGS)
			flags = a->flags;
	}
	fprintf(stderr, "line %u consumer %s flags %llu debounce_us %u queue %u\n", r->offsets[0], r->consumer, flags, debounce_us,
		r->event_buffer_size);
	int ends[2];
	if (pipe2(ends, O_CLOEXEC))
		return -1;
	if ((flags & (GPIO_V2_LINE_FLAG_EDGE_RISING | GPIO_V2_LINE_FLAG_EDGE_FALLING)) == GPIO_V2_LINE_FLAG_EDGE_RISING) {
		const char *text = getenv("GPIO_SHIM_EDGES"), *gap = getenv("GPIO_SHIM_LOST");
		int n = text ? atoi(text) : 0, lost = gap ? atoi(gap) : 0;
		fcntl(ends[1], F_SETPIPE_SZ, 1 << 20);
		for (int k = 1; k <= n; k++) {
			struct gpio_v2_line_event e = {0};
			if (k > n / 2 && k <= n / 2 + lost)
				continue;
			e.timestamp_ns = 1000000000ull + 1000000ull * k;
			e.id = GPIO_V2_LINE_EVENT_RISING_EDGE;
			e.offset = r->offsets[0];
			e.seqno = e.line_seqno = k;
			if (write(ends[1], &e, sizeof e) != sizeof e)
				abort();
		}
	}
	r->fd = ends[0];
	offset_of[r->fd] = 1 + r->offsets[0];
	return 0;
}

int ioctl(int handle, unsigned long number, ...)
{
	int (*real)(int, unsigned long, ...) = dlsym(RTLD_NEXT, "ioctl");
	va_list more;
	va_start(more, number);
	void *what = va_arg(more, void *);
	va_end(more);
	switch ((unsigned)number) {
	case (unsigned)GPIO_GET_CHIPINFO_IOCTL: {
		struct gpiochip_info *info = what;
		memset(info, 0, sizeof *info);
		strcpy(info->name, "gpiochip0");
		info->lines = 32;
		return 0;
	}
	case (unsigned)GPIO_V2_GET_LINEINFO_IOCTL: {
		struct gpio_v2_line_info *info = what;
		unsigned offset = info->offset;
		memset(info, 0, sizeof *info);
		info->offset = offset;
		info->flags = GPIO_V2_LINE_FLAG_INPUT;
		if (offset == 5) {
			info->flags |= GPIO_V2_LINE_FLAG_USED;
			strcpy(info->consumer, "other-driver");
		}
		if (offset == 7)
			strcpy(info->name, "FLOW");
		return 0;
	}
	case (unsigned)GPIO_V2_GET_LINE_IOCTL:
		return line_request(what);
	case (unsigned)GPIO_V2_LINE_SET_VALUES_IOCTL: {
		struct gpio_v2_line_values *values = what;
		if (getenv("GPIO_SHIM_GONE")) {
			errno = ENODEV;
			return -1;
		}
		fprintf(stderr, "set %u to %u\n", offset_of[handle] - 1, (unsigned)(values->bits & values->mask));
		return 0;
	}
	case (unsigned)GPIO_V2_LINE_GET_VALUES_IOCTL: {
		struct gpio_v2_line_values *values = what;
		if (getenv("GPIO_SHIM_GONE")) {
			errno = ENODEV;
			return -1;
		}
		values->bits = (offset_of[handle] - 1) % 2 ? values->mask : 0;
		return 0;
	}
	}
	return real(handle, number, what);
}
