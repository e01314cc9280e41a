#include "server/pipeline/batch.hpp"

#include <cstring>
#include <stdexcept>

namespace turnstone {

void Batch::clear() noexcept {
    frames.clear();
    rows.clear();
    numbers.clear();
    texts.clear();
    events.clear();
}

void Batch::add_row(const Table& table, std::int64_t t_ns, std::int64_t t_rx_ns, std::span<const double> row_numbers,
                    std::span<const std::string_view> row_texts, std::int32_t frame) {
    if (row_numbers.size() != table.number_count || row_numbers.size() + row_texts.size() != table.columns.size())
        throw std::logic_error("a row of " + std::to_string(row_numbers.size()) + " numbers and " +
                               std::to_string(row_texts.size()) + " texts for table " + table.name);
    rows.push_back({table.id, t_ns, t_rx_ns, frame, static_cast<std::uint32_t>(numbers.size()),
                    static_cast<std::uint32_t>(texts.size())});
    numbers.insert(numbers.end(), row_numbers.begin(), row_numbers.end());
    for (const std::string_view text : row_texts) texts.emplace_back(text);
}

bool operator==(const Batch& a, const Batch& b) noexcept {
    const bool numbers_equal =
        a.numbers.size() == b.numbers.size() &&
        (a.numbers.empty() || std::memcmp(a.numbers.data(), b.numbers.data(), a.numbers.size() * sizeof(double)) == 0);
    return numbers_equal && a.frames == b.frames && a.rows == b.rows && a.texts == b.texts && a.events == b.events;
}

} // namespace turnstone
