# A script or a style of the page without what only its readers need: indents, blank lines, comments
# of whole lines, line ends that mean nothing. What it does not surely know it leaves as it is.
function fail(what) {
    print FILENAME ":" FNR ": " what > "/dev/stderr"
    failed = 1
    exit 1
}

# Behind what opens or separates, and before what closes or goes on, a line's end means nothing.
function joins(before, after) {
    return before !~ /\/\// && (before ~ /[,([{]$/ || after ~ /^[]),}.?:&|]/)
}

function count(text, what) {
    return split(text, split_up, what) - 1
}

# Spaces about signs, outside of texts; NOT_SURE when there may be a pattern or an odd quote.
function tight_code(code,    parts, n, i, k, out) {
    n = split(code, parts, "\"")
    if (n % 2 == 0 && n > 0)
        return NOT_SURE
    for (i = 1; i <= n; i++) {
        if (parts[i] ~ (i % 2 == 1 ? "['\\\\/]" : "\\\\$"))
            return NOT_SURE
        for (k = 1; i % 2 == 1 && k <= n_signs; k++)
            gsub(from[k], to[k], parts[i])
        out = out (i > 1 ? "\"" : "") parts[i]
    }
    return out
}

# The same of a line with texts in back quotes. One within another is left alone.
function tight(line,    parts, n, i, out) {
    n = split(line, parts, "`")
    for (i = 1; i <= n; i++) {
        if (i % 2 == 0 && (count(parts[i], "[$][{]") > count(parts[i], "}") || parts[i] ~ /\\$/))
            return line
        if (i % 2 == 1)
            parts[i] = tight_code(parts[i])
        if (parts[i] == NOT_SURE)
            return line
        out = out (i > 1 ? "`" : "") parts[i]
    }
    return out
}

BEGIN {
    NOT_SURE = "\001"
    n_signs = split(" => ~ = ~ === ~ !== ~ \\?\\? ~ \\|\\| ~ && ~ \\? ~ : ~ < ~ > ~ \\(~ \\{~\\{ ~ \\}~, ~: ~; ", from, "~")
    split("=>~=~===~!==~??~||~\\&\\&~?~:~<~>~(~{~{~}~,~:~;", to, "~")
}

/^[\t ]*\/\*/ && ! /\*\/.*[^\t ]/ { comment = 1 }
comment {
    if (/\*\/[\t ]*$/)
        comment = 0
    next
}
FILENAME ~ /\.js$/ && /^[\t ]*\/\// { next }
/^[\t ]*$/ { next }
{
    sub(/^[\t ]+/, "")
    sub(/[\t ]+$/, "")
    if (FILENAME ~ /\.js$/)
        $0 = tight($0)
}
FILENAME ~ /\.css$/ {
    line = (line == "" ? "" : line " ") $0
    next
}
gsub(/`/, "`") % 2 { fail("a text in back quotes must end on its line") }
{
    if (line != "" && joins(line, $0)) {
        if ($0 ~ /^[])}]/)
            sub($0 ~ /^}/ ? "[,;]$" : ",$", "", line)
    } else if (line != "") {
        printf "%s\n", line
        line = ""
    }
    line = line $0
}

END {
    if (failed)
        exit 1
    if (comment)
        fail("a comment does not end")
    if (FILENAME ~ /\.css$/) {
        gsub(/ \{ ?/, "{", line)
        gsub(/; /, ";", line)
        gsub(/;? ?\} ?/, "}", line)
        gsub(/, /, ",", line)
        gsub(/: /, ":", line)
    }
    print line
}
