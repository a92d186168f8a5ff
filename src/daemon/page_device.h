/** @file page_device.h
 * What page_device.c and page_secret.c share.
 */
#ifndef LUGMARK_DAEMON_PAGE_DEVICE_H
#define LUGMARK_DAEMON_PAGE_DEVICE_H

#include "page_door.h"

/** @p n bytes as 2n digits and a NUL. */
void door_hex(const unsigned char *bytes, size_t n, char *out);

/** Write all devices to the file, which changes as a whole or not at all. */
bool doors_save(const struct doors *s);

#endif
