/** Every stream of fixtures/serial through every decoder: its own gives what is written beside the
 * file, and no other finds a code in it. A frame is one decoder for each description in the folder.
 */
#include "sink_log.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <unistd.h>

#include "drivers/ini.h"
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

/** The settings of a .conf file; a decoder that needs none has no such file. */
struct settings {
    size_t n;
    struct lm_setting all[16];
    char text[16][2][256];
};

static void no_section(void *ctx, long line, const char *text)
{
    (void) ctx;
    (void) line;
    assert_non_null(text);
}

static void take_key(void *ctx, long line, const char *key, const char *value)
{
    struct settings *s = ctx;
    (void) line;
    assert_true(s->n < 16);
    snprintf(s->text[s->n][0], sizeof s->text[0][0], "%s", key);
    snprintf(s->text[s->n][1], sizeof s->text[0][1], "%s", value);
    s->all[s->n] = (struct lm_setting){s->text[s->n][0], s->text[s->n][1]};
    s->n++;
}

static void no_mistake(void *ctx, long line, const char *mend, const char *what)
{
    (void) ctx;
    fail_msg("line %ld: %s; to mend: %s", line, what, mend);
}

static void read_settings(const char *stem, struct settings *s)
{
    char path[512];
    const struct lm_ini to = {no_section, take_key, no_mistake, s};
    s->n = 0;
    snprintf(path, sizeof path, FOLDER "%s.conf", stem);
    if (access(path, F_OK) == 0)
        assert_int_equal(lm_ini_read(path, &to), LM_OK);
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
    struct settings settings;
    read_settings(stem, &settings);
    read_want(stem, want, sizeof want);
    assert_true(want[0] != '\0');
    for (size_t piece = 0; piece <= 5; piece++) {
        sink_log_feed(&log, ops, settings.all, settings.n, bytes, len, piece);
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

/** Every description of a frame but its own. */
static void check_frames(const char *file, const char *stem, const char *bytes, size_t len)
{
    size_t frames = 0;
    DIR *dir = opendir(FOLDER);
    assert_non_null(dir);
    for (const struct dirent *entry = readdir(dir); entry != NULL; entry = readdir(dir)) {
        char other[256];
        struct settings settings;
        struct sink_log log;
        const char *dot = strrchr(entry->d_name, '.');
        if (dot == NULL || strcmp(dot, ".conf") != 0)
            continue;
        snprintf(other, sizeof other, "%.*s", (int) (dot - entry->d_name), entry->d_name);
        frames++;
        if (strcmp(other, stem) == 0)
            continue;
        read_settings(other, &settings);
        sink_log_feed(&log, &lm_decoder_frame, settings.all, settings.n, bytes, len, 0);
        if (log.readings != 0)
            fail_msg("%s: %s took it too: '%s'", file, entry->d_name, log.text);
    }
    closedir(dir);
    assert_true(frames >= 3);
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
        if (other != own && other != &lm_decoder_frame)
            check_other(file, other, other == &lm_decoder_telegram ? &both : NULL, bytes, len);
    }
    check_other(file, &lm_decoder_template, NULL, bytes, len);
    check_frames(file, stem, bytes, len);
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
    assert_true(streams >= 11);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_streams)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
