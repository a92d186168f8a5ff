/** @file page_files.c
 * The files of src/daemon/page/, put into the program by the assembler (see the Makefile, which
 * makes scripts and styles small first).
 */
#include "page.h"

#include <event2/buffer.h>
#include <stdio.h>
#include <string.h>

#ifndef LM_PAGE_BUILT /* a tool that only reads this file */
#define LM_PAGE_BUILT "src/daemon/page/"
#endif

/* One pair of symbols a file: where it begins and ends. */
#define PAGE_FILE(symbol, name)                                                                    \
    __asm__(".section .rodata\n"                                                                   \
            ".balign 16\n"                                                                         \
            "lugmark_page_" #symbol ":\n"                                                          \
            ".incbin \"" LM_PAGE_BUILT name "\"\n"                                                 \
            "lugmark_page_" #symbol "_end:\n"                                                      \
            ".previous\n");                                                                        \
    extern const char lugmark_page_##symbol[], lugmark_page_##symbol##_end[];
#include "page_list.h"
#undef PAGE_FILE

struct file {
    const char *name;
    const char *begin, *end;
};

static const struct file files[] = {
#define PAGE_FILE(symbol, name) {name, lugmark_page_##symbol, lugmark_page_##symbol##_end},
#include "page_list.h"
#undef PAGE_FILE
};

static const char *type_of(const char *name)
{
    static const char *const types[][2] = {{".html", "text/html; charset=utf-8"},
        {".css", "text/css; charset=utf-8"}, {".js", "text/javascript; charset=utf-8"},
        {".svg", "image/svg+xml"}, {".png", "image/png"},
        {".webmanifest", "application/manifest+json"}};
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; dot != NULL && i < sizeof types / sizeof types[0]; i++) {
        if (strcmp(types[i][0], dot) == 0) {
            return types[i][1];
        }
    }
    return "application/octet-stream";
}

/* Not against forgers: only so that a browser asks less (FNV-1a). */
static unsigned long long mark_of(const struct file *f)
{
    unsigned long long mark = 0xcbf29ce484222325ull;
    for (const char *at = f->begin; at < f->end; at++) {
        mark = (mark ^ (unsigned char) *at) * 0x100000001b3ull;
    }
    return mark;
}

bool page_file(struct page_conn *c, const char *name)
{
    char more[128], etag[24];
    const struct file *f = NULL;
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        f = strcmp(files[i].name, name) == 0 ? &files[i] : f;
    }
    struct evbuffer *body = f == NULL ? NULL : evbuffer_new();
    if (f == NULL) {
        return false;
    }
    snprintf(etag, sizeof etag, "\"%016llx\"", mark_of(f));
    snprintf(more, sizeof more, "ETag: %s\r\nCache-Control: no-cache\r\n", etag);
    if (strcmp(c->request.etag, etag) == 0) {
        conn_answer(c, 304, NULL, more, NULL);
    } else if (body == NULL || evbuffer_add_reference(
                                   body, f->begin, (size_t) (f->end - f->begin), NULL, NULL) != 0) {
        conn_no_memory(c);
    } else {
        conn_answer(c, 200, type_of(name), more, body);
    }
    if (body != NULL) {
        evbuffer_free(body);
    }
    return true;
}
