// NumPy's format of arrays, version 1.0 or, for long headers, 2.0: numpy.lib.format says what they are.
#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

#include <fmt/format.h>

#include "server/exchange/write/formats.hpp"
#include "server/exchange/write/zip_store.hpp"

namespace turnstone::exchange {

namespace {

static_assert(std::endian::native == std::endian::little, "arrays are written as they lie in memory");

constexpr std::size_t kCharacterBytes = 4; // NumPy keeps texts in UTF-32

/// Magic, version, length and a Python literal, padded so that the data begin at a multiple of 64.
std::string array_header(const std::string& type, const std::string& shape) {
    std::string literal = fmt::format("{{'descr': {}, 'fortran_order': False, 'shape': {}, }}", type, shape);
    const bool is_long = literal.size() + 64 + 10 > 0xffff;
    const std::size_t before = is_long ? 12 : 10;
    literal.append(63 - (before + literal.size()) % 64, ' ');
    literal += '\n';
    std::string header = "\x93NUMPY";
    header += static_cast<char>(is_long ? 2 : 1);
    header += '\0';
    for (std::size_t i = 0; i < before - 8; ++i) header += static_cast<char>(literal.size() >> (8 * i) & 0xffU);
    return header + literal;
}

/// A text of UTF-8 as `characters` of UTF-32, zeros behind it. What is not UTF-8 becomes U+FFFD.
void put_text(std::string& out, std::string_view text, std::size_t characters) {
    for (std::size_t i = 0; i < characters; ++i) {
        std::uint32_t code = 0;
        if (!text.empty()) {
            const auto first = static_cast<unsigned char>(text.front());
            const std::size_t length = first < 0x80 ? 1 : first >= 0xf0 ? 4 : first >= 0xe0 ? 3 : first >= 0xc0 ? 2 : 0;
            if (length == 0 || length > text.size()) {
                code = 0xfffd;
                text.remove_prefix(1);
            } else {
                code = length == 1 ? first : first & (0xffU >> (length + 1));
                for (std::size_t k = 1; k < length; ++k)
                    code = code << 6U | (static_cast<unsigned char>(text[k]) & 0x3fU);
                text.remove_prefix(length);
            }
        }
        for (std::size_t k = 0; k < kCharacterBytes; ++k) out += static_cast<char>(code >> (8 * k) & 0xffU);
    }
}

/// The time's own name stays its own.
std::string field_name(const Column& column) {
    return column.name == "t_ns" ? "t_ns_" : column.name;
}

void put_columns(const std::vector<ChosenTable>& tables, ZipStore& zip) {
    std::vector<std::array<std::string, 4>> lines;
    std::size_t longest = 1;
    for (const ChosenTable& table : tables)
        for (const Column& column : table.columns) {
            lines.push_back({table.name, field_name(column), column.is_text ? "" : column.unit, column.title});
            for (const std::string& text : lines.back()) longest = std::max(longest, text.size());
        }
    const std::string header = array_header(fmt::format("'<U{}'", longest), fmt::format("({}, 4)", lines.size()));
    zip.begin("columns.npy", header.size() + lines.size() * 4 * longest * kCharacterBytes);
    zip.put(header);
    for (const auto& line : lines)
        for (const std::string& text : line) {
            std::string cell;
            put_text(cell, text, longest);
            zip.put(cell);
        }
    zip.end();
}

} // namespace

Result<void> write_npz(const Subject& subject, Rows& rows, Output& out, Steps& steps) {
    const auto& tables = rows.tables();
    ZipStore zip(out);
    put_columns(tables, zip);
    bool go_on = true;
    for (std::size_t t = 0; go_on && !out.failed() && t < tables.size(); ++t) {
        const ChosenTable& table = tables[t];
        Extent extent = rows.extent(t);
        std::string type = "[('t_ns', '<i8')";
        std::size_t row_bytes = sizeof(std::int64_t) + table.number_count * sizeof(double);
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            if (c < table.number_count) {
                type += fmt::format(", ('{}', '<f8')", field_name(table.columns[c]));
                continue;
            }
            std::size_t& characters = extent.characters[c - table.number_count];
            characters = std::max<std::size_t>(characters, 1);
            row_bytes += characters * kCharacterBytes;
            type += fmt::format(", ('{}', '<U{}')", field_name(table.columns[c]), characters);
        }
        const std::string header = array_header(type + "]", fmt::format("({},)", extent.rows));
        zip.begin(table.name + ".npy", header.size() + extent.rows * row_bytes);
        zip.put(header);
        steps.begin_part(t, tables.size());
        rows.start(t);
        std::string line;
        while (go_on && !out.failed() && rows.next()) {
            const StreamedRow& row = rows.row();
            line.resize(sizeof row.t_ns + row.numbers.size_bytes());
            std::memcpy(line.data(), &row.t_ns, sizeof row.t_ns);
            if (!row.numbers.empty())
                std::memcpy(line.data() + sizeof row.t_ns, row.numbers.data(), row.numbers.size_bytes());
            for (std::size_t c = 0; c < row.texts.size(); ++c) put_text(line, row.texts[c], extent.characters[c]);
            zip.put(line);
            go_on = steps.go_on(row.t_ns);
        }
        zip.end();
    }
    zip.finish();
    return ended(subject, out, !go_on);
}

} // namespace turnstone::exchange
