/* Standard output, or a file that is never overwritten by surprise. */
#include "out_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "problem.h"
#include "report/tongue.h"

static int cannot(const char *path, const char *what)
{
    return lm_fail(LM_EXIT_FAILED, NULL, "%s cannot be %s: %s", path, what, strerror(errno));
}

int lm_out_open(const struct lm_args *args, struct lm_out *out)
{
    int fd;
    *out = (struct lm_out){.file = stdout, .path = lm_arg(args, "output")};
    if (out->path == NULL || strcmp(out->path, "-") == 0) {
        out->path = NULL;
        return LM_EXIT_OK;
    }
    struct stat st = {.st_mode = S_IFREG | 0600};
    if (lstat(out->path, &st) == 0 && !S_ISREG(st.st_mode)) /* replacing it would destroy it */
        return lm_fail(LM_EXIT_INPUT, "name a file, or leave --output out and redirect",
            "%s is no ordinary file", out->path);
    fd = open(out->path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (fd < 0 && errno == EEXIST) {
        if (!lm_arg_given(args, "overwrite"))
            return lm_fail(LM_EXIT_INPUT, _("choose another name, or add --overwrite"),
                _("%s is there already"), out->path);
        int len = snprintf(out->temp, sizeof out->temp, "%s.XXXXXX", out->path);
        if (len < 0 || (size_t) len >= sizeof out->temp)
            return lm_usage(args, "the name after --output is too long");
        fd = mkostemp(out->temp, O_CLOEXEC);
        if (fd >= 0)
            fchmod(fd, st.st_mode & 0777); /* who could read it before, and nobody else */
    }
    if (fd < 0)
        return cannot(out->path, "written");
    out->file = fdopen(fd, "w");
    if (out->file == NULL) {
        int exit = cannot(out->path, "written");
        close(fd);
        unlink(out->temp[0] != '\0' ? out->temp : out->path); /* made just now, and empty */
        return exit;
    }
    return LM_EXIT_OK;
}

int lm_out_close(struct lm_out *out, bool good)
{
    int exit = LM_EXIT_OK;
    if (out->path == NULL)
        return LM_EXIT_OK; /* the program's end checks standard output */
    const char *written = out->temp[0] != '\0' ? out->temp : out->path;
    bool bad = ferror(out->file) != 0 || fflush(out->file) != 0 || fsync(fileno(out->file)) != 0;
    if (bad)
        exit = cannot(out->path, "written");
    fclose(out->file);
    if (good && !bad && out->temp[0] != '\0' && rename(out->temp, out->path) != 0)
        exit = cannot(out->path, "replaced");
    if (!good || exit != LM_EXIT_OK)
        unlink(written);
    return exit;
}
