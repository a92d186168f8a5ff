/* The tongue of the screens: gettext, as the C library has it.
 *
 * Only the texts change with it: numbers, dates and the order of lists are the same everywhere, so
 * no other part of the locale is set here. */
#include "report/tongue.h"

#include <libintl.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define DOMAIN "lugmark"
#define NAME_MAX_BYTES 15u
#ifndef LM_LOCALEDIR
#define LM_LOCALEDIR "/usr/local/share/locale"
#endif

const char *lm_tongue(const char *text)
{
    return text[0] != '\0' ? dgettext(DOMAIN, text) : text; /* "" is the catalog's own head */
}

const char *lm_tongue_n(const char *one, const char *many, unsigned long n)
{
    return dngettext(DOMAIN, one, many, n);
}

const struct lm_speech lm_tongue_speech = {lm_tongue, lm_tongue_n};

const char *lm_tongue_word(const char *word)
{
    static const char *const known[] = {/* TRANSLATORS: places of a device on the body */
        N_("left ear"), N_("right ear"), N_("rumen"), N_("leg"), N_("tail web"),
        /* TRANSLATORS: sexes of animals */
        N_("female"), N_("male"), N_("castrated"),
        /* TRANSLATORS: forms of devices */
        N_("flag tag"), N_("button tag"), N_("loop tag"), N_("bolus"), N_("injectable"),
        N_("leg band"), N_("tattoo"),
        /* TRANSLATORS: kinds of session: a mob walks through, part of a yearly count, a sale */
        N_("walk"), N_("count"), N_("sale"),
        /* TRANSLATORS: what has become of an animal */
        N_("on-farm"), N_("sold"), N_("dead"), N_("slaughtered"), N_("lost"),
        /* TRANSLATORS: states of a reader */
        N_("absent"), N_("opening"), N_("live"), N_("silent"), N_("backing-off")};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        if (strcmp(word, known[i]) == 0)
            return lm_tongue(known[i]);
    }
    return word;
}

const char *lm_tongue_list(const char *list, char *out, unsigned long size)
{
    char part[128];
    size_t used = 0;
    out[0] = '\0';
    while (*list != '\0' && used + 1 < size) {
        const char *end = strstr(list, ", ");
        size_t len = end != NULL ? (size_t) (end - list) : strlen(list);
        bool fits = len < sizeof part;
        snprintf(part, sizeof part, "%.*s", (int) (fits ? len : sizeof part - 1), list);
        int n = snprintf(out + used, size - used, "%s%s", used > 0 ? ", " : "",
            fits ? lm_tongue_word(part) : part);
        used += n > 0 ? (size_t) n : 0;
        list += end != NULL ? len + 2 : len;
    }
    return out;
}

int lm_tongue_width(const char *text)
{
    int n = 0;
    for (; *text != '\0'; text++)
        n += ((unsigned char) *text & 0xC0u) != 0x80u;
    return n;
}

void lm_tongue_pad(FILE *out, const char *text, int columns)
{
    int left = columns - lm_tongue_width(text);
    fprintf(out, "%s%*s", text, left > 0 ? left : columns > 0, "");
}

static bool is_folder(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

/* Where the catalogs are: beside a program that was built and not installed, in the share folder
 * beside the bin folder of an installed one, or where the build was told. */
static void find_catalogs(void)
{
    char path[512];
    static const char *const beside[] = {"/locale", "/../share/locale"};
    ssize_t len = readlink("/proc/self/exe", path, sizeof path - 32);
    const char *found = NULL;
    path[len > 0 ? len : 0] = '\0';
    char *slash = strrchr(path, '/');
    for (size_t i = 0; slash != NULL && found == NULL && i < 2; i++) {
        memcpy(slash, beside[i], strlen(beside[i]) + 1);
        found = is_folder(path) ? path : NULL;
    }
    bindtextdomain(DOMAIN, found != NULL ? found : LM_LOCALEDIR);
    bind_textdomain_codeset(DOMAIN, "UTF-8");
}

/* "C.UTF-8" is of no country: with it LANGUAGE alone says which tongue. */
static bool is_english(const char *locale)
{
    const char *first = getenv("LANGUAGE");
    if (strncmp(locale, "C.", 2) == 0)
        return first == NULL || first[0] == '\0';
    return locale[0] == '\0' || strcmp(locale, "C") == 0 || strcmp(locale, "POSIX") == 0;
}

/* The locale for messages, as setlocale(3) reads the environment; "" for none. */
static const char *asked(void)
{
    static const char *const names[] = {"LC_ALL", "LC_MESSAGES", "LANG"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        const char *value = getenv(names[i]);
        if (value != NULL && value[0] != '\0')
            return value;
    }
    return "";
}

void lm_tongue_begin(void)
{
    if (is_english(asked()))
        return; /* the usual way: no file is looked for */
    find_catalogs();
    if (setlocale(LC_MESSAGES, "") != NULL)
        return;
    /* A locale that this machine has not made: its texts can be had all the same. */
    const char *first = getenv("LANGUAGE");
    if (setlocale(LC_MESSAGES, "C.UTF-8") != NULL && (first == NULL || first[0] == '\0'))
        setenv("LANGUAGE", asked(), 1);
}

const char *lm_tongue_name(void)
{
    /* TRANSLATORS: the code of your own language, such as "de"; it is the name of this file */
    return lm_tongue(N_("en"));
}

bool lm_tongue_lend(const char *name)
{
    char catalog[NAME_MAX_BYTES + 600];
    struct stat st;
    size_t len = strlen(name);
    if (len < 2 || len > NAME_MAX_BYTES || strspn(name, "abcdefghijklmnopqrstuvwxyz") != len)
        return false;
    find_catalogs();
    snprintf(catalog, sizeof catalog, "%s/%s/LC_MESSAGES/" DOMAIN ".mo",
        bindtextdomain(DOMAIN, NULL), name);
    if (stat(catalog, &st) != 0 || setlocale(LC_MESSAGES, "C.UTF-8") == NULL)
        return false;
    if (setenv("LANGUAGE", name, 1) == 0)
        return true;
    setlocale(LC_MESSAGES, "C");
    return false;
}

void lm_tongue_give_back(void)
{
    unsetenv("LANGUAGE");
    setlocale(LC_MESSAGES, "C");
}
