#include "server/exchange/table/rows.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace turnstone::exchange {

namespace {

std::vector<ColumnChoice> numbers_only(const Schema& schema, std::vector<ColumnChoice> choices) {
    for (ColumnChoice& choice : choices)
        std::erase_if(
            choice.columns, [&](std::size_t c) { return c >= schema.tables[choice.table].number_count; });
    std::erase_if(choices, [](const ColumnChoice& choice) { return choice.columns.empty(); });
    return choices;
}

ChosenTable chosen_table(const Table& table, const ColumnChoice& choice) {
    ChosenTable out{table.name, table.title, {}, 0};
    for (const std::size_t c : choice.columns) {
        out.columns.push_back(table.columns[c]);
        if (c < table.number_count) ++out.number_count;
    }
    return out;
}

std::size_t characters_in(std::string_view text) {
    // Bytes that go on with a character are not counted.
    return static_cast<std::size_t>(
        std::ranges::count_if(text, [](char c) { return (static_cast<unsigned char>(c) & 0xc0U) != 0x80U; }));
}

} // namespace

Rows::Rows(RecordingReader& reader, std::vector<ColumnChoice> choices, Span span, std::int64_t every_ns)
    : reader_(&reader), choices_(every_ns > 0 ? numbers_only(reader.schema(), std::move(choices)) : std::move(choices)),
      span_(span), every_ns_(every_ns), stream_(reader.stream(choices_)) {
    ChosenTable line{"samples", "One time base", {}, 0};
    for (const ColumnChoice& choice : choices_) {
        ChosenTable table = chosen_table(reader.schema().tables[choice.table], choice);
        if (every_ns_ == 0) {
            tables_.push_back(std::move(table));
            continue;
        }
        first_column_.push_back(line.columns.size());
        for (Column& column : table.columns) {
            column.name = table.name + "." + column.name;
            line.columns.push_back(std::move(column));
        }
    }
    line.number_count = line.columns.size();
    if (every_ns_ > 0) tables_.push_back(std::move(line));
    start();
}

void Rows::start(std::optional<std::size_t> only) {
    if (every_ns_ > 0) only.reset(); // there is one table
    stream_.start(span_.from_ns, span_.to_ns, only);
    line_ns_ = span_.from_ns - every_ns_;
    has_row_ = every_ns_ > 0 && stream_.next();
}

bool Rows::next() {
    if (every_ns_ > 0) return next_line();
    if (!stream_.next()) return false;
    row_ = stream_.row();
    return true;
}

bool Rows::next_line() {
    if (line_ns_ >= span_.to_ns - every_ns_) return false;
    line_ns_ += every_ns_;
    line_.assign(tables_.front().columns.size(), std::numeric_limits<double>::quiet_NaN());
    for (; has_row_ && stream_.row().t_ns <= line_ns_; has_row_ = stream_.next()) {
        const auto numbers = stream_.row().numbers;
        for (std::size_t c = 0; c < numbers.size(); ++c)
            if (!std::isnan(numbers[c])) line_[first_column_[stream_.row().choice] + c] = numbers[c];
    }
    row_ = {0, line_ns_, line_, {}};
    return true;
}

Extent Rows::extent(std::size_t table) {
    Extent out;
    if (every_ns_ > 0) {
        const auto length = static_cast<std::uint64_t>(std::max<std::int64_t>(span_.to_ns - span_.from_ns, 0));
        const auto every = static_cast<std::uint64_t>(every_ns_);
        out.rows = (length + every - 1) / every;
        return out;
    }
    ColumnChoice texts = choices_[table];
    texts.columns.erase(texts.columns.begin(),
                        texts.columns.begin() + static_cast<std::ptrdiff_t>(tables_[table].number_count));
    out.characters.resize(texts.columns.size());
    RowStream stream = reader_->stream({texts});
    stream.start(span_.from_ns, span_.to_ns);
    for (; stream.next(); ++out.rows)
        for (std::size_t c = 0; c < stream.row().texts.size(); ++c)
            out.characters[c] = std::max(out.characters[c], characters_in(stream.row().texts[c]));
    return out;
}

std::vector<ColumnChoice> with_rows(RecordingReader& reader, std::vector<ColumnChoice> choices, Span span) {
    std::vector<ColumnChoice> out;
    RowStream stream = reader.stream(choices);
    for (std::size_t i = 0; i < choices.size(); ++i) {
        stream.start(span.from_ns, span.to_ns, i);
        if (stream.next()) out.push_back(std::move(choices[i]));
    }
    return out;
}

} // namespace turnstone::exchange
