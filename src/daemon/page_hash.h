/** @file page_hash.h
 * SHA-256 (FIPS 180-4), so that a secret need not be kept to be known again.
 */
#ifndef LUGMARK_DAEMON_PAGE_HASH_H
#define LUGMARK_DAEMON_PAGE_HASH_H

#include <stddef.h>

#define HASH_BYTES 32u

void hash_bytes(const void *data, size_t len, unsigned char out[HASH_BYTES]);

/** Whether two hashes are the same; takes the same time for all. */
int hash_same(const unsigned char a[HASH_BYTES], const unsigned char b[HASH_BYTES]);

#endif
