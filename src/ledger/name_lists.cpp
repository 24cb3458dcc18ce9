// SPDX-License-Identifier: MIT
#include "ledger/name_lists.hpp"

#include "ledger/bytes.hpp"

namespace emberline::ledger {

std::int64_t NameLists::id(const std::vector<std::string>& names) {
    const std::string lines = join_lines(names);
    const auto known = ids_.find(lines);
    if (known != ids_.end()) return known->second;
    Statement find(connection_, "SELECT id FROM name_list WHERE names = ?");
    find.bind_text(0, lines);
    std::int64_t id = 0;
    if (find.step()) {
        id = find.integer(0);
    } else {
        Statement insert(connection_, "INSERT INTO name_list (names) VALUES (?)");
        insert.bind_text(0, lines);
        insert.run();
        id = connection_.last_id();
    }
    ids_.emplace(lines, id);
    return id;
}

const std::vector<std::string>& NameLists::names(std::int64_t id) {
    const auto known = lists_.find(id);
    if (known != lists_.end()) return known->second;
    Statement find(connection_, "SELECT names FROM name_list WHERE id = ?");
    find.bind(0, id);
    if (!find.step()) connection_.raise_damaged("a list of names is missing");
    auto names = split_lines(find.text(0));
    if (!names) connection_.raise_damaged("a list of names cannot be read");
    return lists_.emplace(id, std::move(*names)).first->second;
}

}  // namespace emberline::ledger
