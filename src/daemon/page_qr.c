#include "page_qr.h"

#include <qrencode.h>
#include <stdbool.h>
#include <stdlib.h>

#define QUIET 4

json_t *qr_json(const char *text)
{
    QRcode *code = QRcode_encodeString8bit(text, 0, QR_ECLEVEL_M);
    size_t width = code != NULL ? (size_t) code->width : 0;
    char *row = code != NULL ? malloc(width) : NULL;
    json_t *out = row != NULL ? json_array() : json_null();
    for (size_t y = 0; row != NULL && y < width; y++) {
        for (size_t x = 0; x < width; x++) {
            row[x] = (code->data[y * width + x] & 1) != 0 ? '1' : '0';
        }
        json_array_append_new(out, json_stringn(row, width));
    }
    free(row);
    QRcode_free(code);
    return out;
}

static bool dark(const json_t *rows, int x, int y)
{
    int n = (int) json_array_size(rows);
    if (x < 0 || y < 0 || x >= n || y >= n) {
        return false;
    }
    const json_t *row = json_array_get(rows, (size_t) y);
    return (size_t) x < json_string_length(row) && json_string_value(row)[x] == '1';
}

/* Black on white is said, not left to the terminal: a telephone wants it so. */
void qr_draw(FILE *out, const json_t *rows)
{
    static const char *const blocks[2][2] = {{" ", "\u2584"}, {"\u2580", "\u2588"}};
    int n = (int) json_array_size(rows);
    for (int y = -QUIET; n > 0 && y < n + QUIET; y += 2) {
        fputs("\033[30;107m", out);
        for (int x = -QUIET; x < n + QUIET; x++) {
            fputs(blocks[dark(rows, x, y)][dark(rows, x, y + 1)], out);
        }
        fputs("\033[0m\n", out);
    }
}
