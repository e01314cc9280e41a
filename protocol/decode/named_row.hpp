#pragma once
/// A row of a dictionary's table that is filled by the names of its columns, for what comes as characters: sentences
/// and lines. Columns that nothing fills are "no value". Room is made once.
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

class NamedRow {
  public:
    NamedRow() = default;
    /// `table`: of Dictionary::tables; `names`: what can be set, by their place. The dictionary must outlive it.
    NamedRow(const Dictionary& dictionary, std::size_t table, std::span<const std::string_view> names);

    [[nodiscard]] bool is_there() const noexcept { return about_ != nullptr; }
    void clear() noexcept;
    /// By place among the names; a name that the table does not have is left out.
    void set(std::size_t name, double value) noexcept;
    void set(std::size_t name, std::string_view value) noexcept;
    /// Ends the row: values after calibration, which ones are out of range. Valid until clear().
    [[nodiscard]] DecodedRow row(double time_offset_ms = 0) noexcept;

  private:
    const ChannelTable* about_ = nullptr;
    std::size_t table_ = 0;
    std::vector<const Channel*> channels_; ///< by name; null: the table has none
    std::vector<double> numbers_;
    std::vector<std::string_view> texts_;
};

/// Which of Dictionary::tables has this name, if any.
[[nodiscard]] std::optional<std::size_t> table_named(const Dictionary& dictionary, std::string_view name) noexcept;

} // namespace turnstone
