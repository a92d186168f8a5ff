/** Every stream of fixtures/serial through every decoder: its own gives what is written beside the
 * file, and no other finds a code in it. */
#include "sink_log.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>

#include "drivers/list.h"
#include "drivers/template.h"

#define FOLDER "fixtures/serial/"

static size_t slurp(const char *path, char *out, size_t size)
{
    FILE *in = fopen(path, "rb");
    if (in == NULL)
        fail_msg("%s: %s (run it in the project's folder)", path, strerror(errno));
    size_t n = fread(out, 1, size, in);
    assert_true(n < size);
    assert_int_equal(ferror(in), 0);
    fclose(in);
    return n;
}

/** The words of a .want file with one blank between. */
static void read_want(const char *stem, char *out, size_t size)
{
    char path[512], text[4096];
    snprintf(path, sizeof path, FOLDER "%s.want", stem);
    text[slurp(path, text, sizeof text - 1)] = '\0';
    out[0] = '\0';
    char *rest = NULL;
    for (char *word = strtok_r(text, " \n", &rest); word != NULL;
         word = strtok_r(NULL, " \n", &rest)) {
        size_t used = strlen(out);
        snprintf(out + used, size - used, "%s%s", used > 0 ? " " : "", word);
    }
}

static void check_own(const char *file, const char *stem, const struct lm_decoder_ops *ops,
    const char *bytes, size_t len)
{
    char want[4096];
    struct sink_log log;
    read_want(stem, want, sizeof want);
    assert_true(want[0] != '\0');
    for (size_t piece = 0; piece <= 5; piece++) {
        sink_log_feed(&log, ops, NULL, 0, bytes, len, piece);
        if (strcmp(log.text, want) != 0)
            fail_msg("%s (pieces of %zu): want '%s', got '%s'", file, piece, want, log.text);
    }
}

static void check_other(const char *file, const struct lm_decoder_ops *ops,
    const struct lm_setting *setting, const char *bytes, size_t len)
{
    struct sink_log log;
    sink_log_feed(&log, ops, setting, setting != NULL, bytes, len, 0);
    if (log.readings != 0)
        fail_msg("%s: decoder %s took it too: '%s'", file, ops->name, log.text);
}

/** @return Whether the file is a stream. */
static bool check_file(const char *file)
{
    static const struct lm_setting both = {"coding", "both"};
    static char bytes[65536];
    char stem[256], path[512];
    const char *dot = strrchr(file, '.');
    const char *dash = strchr(file, '-');
    if (dot == NULL || (strcmp(dot, ".txt") != 0 && strcmp(dot, ".bin") != 0))
        return false;
    assert_non_null(dash);
    snprintf(stem, sizeof stem, "%.*s", (int) (dash - file), file);
    const struct lm_decoder_ops *own = lm_decoder_find(stem);
    if (own == NULL)
        fail_msg("%s: there is no decoder %s", file, stem);
    snprintf(stem, sizeof stem, "%.*s", (int) (dot - file), file);
    snprintf(path, sizeof path, FOLDER "%s", file);
    size_t len = slurp(path, bytes, sizeof bytes);
    assert_true(len > 0);
    check_own(file, stem, own, bytes, len);
    for (const char *const *name = lm_decoder_names(); *name != NULL; name++) {
        const struct lm_decoder_ops *other = lm_decoder_find(*name);
        if (other != own)
            check_other(file, other, other == &lm_decoder_telegram ? &both : NULL, bytes, len);
    }
    check_other(file, &lm_decoder_template, NULL, bytes, len);
    return true;
}

static void test_streams(void **unused)
{
    (void) unused;
    size_t streams = 0;
    DIR *dir = opendir(FOLDER);
    if (dir == NULL)
        fail_msg(FOLDER ": %s (run it in the project's folder)", strerror(errno));
    for (const struct dirent *entry = readdir(dir); entry != NULL; entry = readdir(dir))
        streams += check_file(entry->d_name);
    closedir(dir);
    assert_true(streams >= 8);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_streams)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
