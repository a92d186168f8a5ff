/** @file page_qr.h
 * A text as a QR code.
 */
#ifndef LUGMARK_DAEMON_PAGE_QR_H
#define LUGMARK_DAEMON_PAGE_QR_H

#include <jansson.h>
#include <stdio.h>

/** Its rows from top to bottom, each a text of `0` and `1` (dark), without the quiet zone. New
 * reference; null when it cannot be made. */
json_t *qr_json(const char *text);

/** Draw such rows with half blocks and a quiet zone of four, dark on light on any terminal. */
void qr_draw(FILE *out, const json_t *rows);

#endif
